"""While a watch that takes long to open is opening: what it waits for, and a way to stop it."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QObject, Signal

from app.services.bridge import Bridge
from app.views.progress_page import ProgressPage
from app.views.widgets.overlay import Layer

TITLE: Final = "Opening"
CANCELLED: Final = "Cancelled."


class Opening(QObject):
    """Its page comes once there is something to wait for, and goes with it; Esc stops the work.

    `given_up` says that what is opening is no longer wanted.
    """

    given_up = Signal()

    def __init__(self, bridge: Bridge, layer: Layer) -> None:
        super().__init__(layer)
        self._bridge, self._layer = bridge, layer
        self.page: ProgressPage | None = None
        bridge.opening.connect(self._show)
        bridge.started.connect(lambda _watch: self._close())
        bridge.failed.connect(lambda _words: self._close())

    def _show(self, words: str) -> None:
        if not words:
            return
        if self.page is None:
            page = ProgressPage(self._layer.below, TITLE)
            page.cancelled.connect(page.hide)
            page.shown.connect(self._hidden)
            self.page = page
            self._layer.open(page)
        self.page.put(words)

    def _hidden(self, shown: bool) -> None:
        """Hidden while there is still something to wait for: it is no longer wanted."""
        if not shown and self.page is not None:
            self.page = None
            self._bridge.abandon()
            self.given_up.emit()

    def _close(self) -> None:
        page, self.page = self.page, None
        if page is not None:
            page.hide()
