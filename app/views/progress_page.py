"""Long work on its way: what is being done, how far it is, and a way to stop it."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Final

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QProgressBar, QWidget

from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

_PERCENT: Final = re.compile(r"(\d{1,3}) %$")
_FULL: Final = 1000
_WIDE: Final = 520


class ProgressPage(Overlay):
    """`cancelled` says that the work is no longer wanted; Esc only hides the page.

    `background`: what the button that leaves the work alone says; empty where there is none.
    """

    cancelled = Signal()

    def __init__(self, parent: QWidget, title: str, background: str = "") -> None:
        super().__init__(parent)
        self.title = plain(title, "title")
        self.words, self.more = plain("", wrap=True), plain("", "red", wrap=True)
        self.more.hide()
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setRange(0, 0)
        self.cancel = Button("Cancel", "" if background else "Esc", main=True)
        self.leave = Button(background, "Esc", main=True)
        self.leave.setVisible(bool(background))
        self._row = QHBoxLayout()
        for part in (self.cancel, self.leave):
            self._row.addWidget(part)
        self._row.addStretch(1)
        for widget in (self.title, self.words, self.bar, self.more):
            widget.setMinimumWidth(_WIDE)
            self.column.addWidget(widget)
        self.column.addLayout(self._row)
        self.setAccessibleName(title)
        self.bar.setAccessibleName("Progress")
        self.cancel.clicked.connect(self.cancelled)
        self.leave.clicked.connect(self.hide)

    def open(self) -> None:
        """Show it; Enter does nothing: whoever presses it would have it go faster, not end."""
        super().open()
        self.setFocus()

    def put(self, words: str, share: float | None = None) -> None:
        """What is being done; the bar moves by the share, else by a percentage at the end."""
        say(self.words, words)
        percent = _PERCENT.search(words)
        if share is None and percent:
            share = int(percent[1]) / 100
        if share is None:
            self.bar.setRange(0, 0)
            return
        self.bar.setRange(0, _FULL)
        self.bar.setValue(round(_FULL * share))
        self.bar.setAccessibleDescription(f"{round(100 * share)} %")

    def stopping(self) -> None:
        """It was cancelled, and ends at its next step."""
        self.cancel.setEnabled(False)
        self.put("Cancelling…")

    def finish(
        self,
        title: str,
        words: str,
        more: str = "",
        acts: Sequence[tuple[str, Callable[[], None]]] = (),
    ) -> None:
        """It has ended: one line, what went wrong, and what can be done now."""
        say(self.title, title)
        self.setAccessibleName(title)
        say(self.words, words)
        say(self.more, more)
        self.more.setVisible(bool(more))
        self.bar.hide()
        self.cancel.hide()
        self.leave.put("Close", "Esc")
        self.leave.show()
        for name, act in acts:
            button = Button(name, main=True)
            button.clicked.connect(act)
            self._row.insertWidget(self._row.count() - 2, button)
        self.leave.setFocus()
