"""The way out, step by step: Esc, the start page, closing. Nobody ends a live watch by mistake."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from PySide6.QtCore import QObject

from app.controllers.opening import CANCELLED
from app.views.widgets.overlay import Question

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

STOP_WORDS: Final = "The alarms stop. The recorder goes on by itself; nothing on it is touched."
CLOSE_WORDS: Final = (
    f"{STOP_WORDS} Or only close this window: the watch and its log go on unseen and unheard "
    "until trackwarden is opened again."
)


class Closing(QObject):
    """Asks before a live watch ends; `decided` once the answer was yes."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window = window
        self.decided = False

    def back(self) -> None:
        """Close what lies on top; then leave full screen; then go to the start page."""
        window, page = self._window, self._window.watch_page
        if window.layer.covers:
            window.layer.hide()
        elif window.watching and window.headphones.playing:
            window.headphones.stop()
        elif window.pages.currentWidget() is window.glances.page:
            window.toggle_glance()
        elif window.watching and page.closer_shown:
            page.look_closer(None)
        elif window.watching and window.drills.to_be_scored:
            window.drills.end()
        elif window.watching:
            self._ask_first(window.to_start, STOP_WORDS)
        elif window.isFullScreen():
            window.toggle_full_screen()

    def may_close(self) -> bool:
        """The window may go now; else it was asked, or a drill is scored first."""
        window = self._window
        if window.is_live and not self.decided:
            other = ("Close, watch on", self._close_only)
            self._ask_first(self.close_now, CLOSE_WORDS, other)
            return False
        if window.drills.to_be_scored:
            window.drills.end()
            return False
        return True

    def _ask_first(
        self,
        act: Callable[[], None],
        words: str,
        other: tuple[str, Callable[[], None]] | None = None,
    ) -> None:
        window = self._window
        if not window.is_live:
            act()
            return
        stop = "Stop watching"
        window.layer.open(Question(window.pages, f"{stop}?", words, stop, act, other))

    def give_up_opening(self) -> None:
        """What is opening is no longer wanted."""
        window = self._window
        window.bridge.abandon()
        if window.watching:
            window.to_start()
        window.start_page.show_progress(CANCELLED)

    def close_now(self) -> None:
        """Close without asking."""
        self.decided = True
        self._window.close()

    def _close_only(self) -> None:
        """The window goes, the watch goes on."""
        self._window.bridge.close()
        self.close_now()
