"""While a watch that takes long to open is opening: what it waits for, and a way to stop it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from PySide6.QtCore import QObject

from app.views.progress_page import ProgressPage

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

TITLE: Final = "Opening"
CANCELLED: Final = "Cancelled."


class Opening(QObject):
    """Its page comes once there is something to wait for, and goes with it; Esc stops the work."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window = window
        self.page: ProgressPage | None = None
        bridge = window.bridge
        bridge.opening.connect(self._show)
        bridge.started.connect(lambda _watch: self._close())
        bridge.failed.connect(lambda _words: self._close())

    def _show(self, words: str) -> None:
        if not words:
            return
        if self.page is None:
            page = ProgressPage(self._window.layer.below, TITLE)
            page.cancelled.connect(page.hide)
            page.shown.connect(self._hidden)
            self.page = page
            self._window.layer.open(page)
        self.page.put(words)

    def _hidden(self, shown: bool) -> None:
        """Hidden while there is still something to wait for: it is no longer wanted."""
        if not shown and self.page is not None:
            self.page = None
            self._window.leaving.give_up_opening()

    def _close(self) -> None:
        page, self.page = self.page, None
        if page is not None:
            page.hide()
