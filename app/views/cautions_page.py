"""The cautions before a demo or a drill that was opened from the command line.

The start page shows them; a watch that opens at once would never have. Any key or click closes
the page, and so does time: nothing that happens on the board behind it waits.
"""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QTimer
from PySide6.QtGui import QKeyEvent, QMouseEvent
from PySide6.QtWidgets import QWidget

from app.views.widgets.basics import plain
from app.views.widgets.overlay import Overlay
from engine.model import cautions

SHOWN_MS: Final = 20_000


class CautionsPage(Overlay):
    """Laid over the window until a key is pressed; `read` says that it was there long enough."""

    def __init__(self, parent: QWidget, drill: bool) -> None:
        """`drill`: the caution that belongs to drills is among them."""
        super().__init__(parent)
        self.read = False
        self.setAccessibleName("Cautions")
        self.column.addWidget(plain("Before you begin", "title"))
        for words in (*cautions.FIRST, *((cautions.DRILL,) if drill else ())):
            self.column.addWidget(plain(words, wrap=True))
        self.column.addWidget(plain("Press any key", "dim"))
        self.timer = QTimer(self, interval=SHOWN_MS, singleShot=True)
        self.timer.timeout.connect(self._leave)
        self.timer.start()

    def keyPressEvent(self, _event: QKeyEvent) -> None:  # noqa: N802
        """Read: out of the way."""
        self._leave()

    def mousePressEvent(self, _event: QMouseEvent) -> None:  # noqa: N802
        """The same by hand."""
        self._leave()

    def _leave(self) -> None:
        self.read = True
        self.hide()

    def hideEvent(self, event: object) -> None:  # noqa: N802
        """No timer outlives it."""
        self.timer.stop()
        super().hideEvent(event)
