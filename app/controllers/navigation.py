"""Which page is shown, and which track is chosen on it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QStackedWidget, QWidget

from app.controllers.glance_controller import GlanceController
from app.models.alarm_card import Card
from app.models.key_bindings import Act
from app.views.start_page import StartPage
from app.views.watch_page import WatchPage

JOIN_S: Final = 1.0
"""Digits typed within this time of each other are one number."""


class Navigation(QObject):
    """Start page, board (with the closer look) and glance view, in one stack.

    `glance_shown` says that a glance view came or went and wants to be brought up to date.
    """

    glance_shown = Signal()

    def __init__(self, start_page: StartPage, page: WatchPage, glances: GlanceController) -> None:
        self.pages = QStackedWidget()
        super().__init__(self.pages)
        self._start_page, self._page, self._glances = start_page, page, glances
        for one in (start_page, page, glances.page):
            self.pages.addWidget(one)
        self._on_board = False
        self._typed, self._typed_s = "", -JOIN_S
        page.fix_list.chosen.connect(self._choose_card)
        page.board.track_chosen.connect(self.choose_track)
        page.board.closer_asked.connect(page.look_closer)

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What the keys of the pages do."""
        return {
            Act.GLANCE: self.toggle_glance,
            Act.GLANCE_WINDOW: self.toggle_glance_window,
            Act.CLOSER: self.look_closer,
            Act.UP: lambda: self.step(-1),
            Act.DOWN: lambda: self.step(1),
        }

    @property
    def watching(self) -> bool:
        """The board or the glance view is shown."""
        return self.pages.currentWidget() is not self._start_page

    def show_start(self) -> None:
        """The start page."""
        self._show(self._start_page)

    def show_board(self) -> None:
        """The board, with the keys on its list."""
        self._show(self._page)
        self._page.board.setFocus()
        self._page.fix_list.setFocus()

    def _show(self, page: QWidget) -> None:
        self.pages.setCurrentWidget(page)

    def toggle_glance(self) -> None:
        """The glance view, or the board again."""
        here = self.pages.currentWidget() is self._glances.page
        self._show(self._page if here else self._glances.page)
        self.glance_shown.emit()

    def toggle_glance_window(self) -> None:
        """The glance view in a window of its own, or none."""
        self._glances.toggle_window()
        self.glance_shown.emit()

    def leave_glance(self) -> bool:
        """Back to the board from the glance view; False where it is not shown."""
        if self.pages.currentWidget() is not self._glances.page:
            return False
        self.toggle_glance()
        return True

    def look_closer(self) -> None:
        """A closer look at the chosen track, or the board again."""
        self._page.toggle_closer()
        self._show(self._page)

    def leave_closer(self) -> bool:
        """Back to the board from the closer look; False where it is not shown."""
        if not (self.watching and self._page.closer_shown):
            return False
        self._page.look_closer(None)
        return True

    def step(self, by: int) -> None:
        """Choose the entry, or on the board the track, above or below."""
        page = self._page
        on_board = page.board.hasFocus() or page.closer_shown
        (page.board if on_board else page.fix_list).step(by)

    def _choose_card(self, card: Card | None) -> None:
        self._page.board.choose(card.tracks if card else ())

    def type_digit(self, digit: str, now_s: float) -> None:
        """A typed number chooses that track: each digit at once, the next within a second joins."""
        page = self._page
        inputs = {track.input for track in page.plan.tracks}
        joined = self._typed + digit if now_s - self._typed_s < JOIN_S else digit
        self._typed = joined if any(str(n).startswith(joined) for n in inputs) else digit
        self._typed_s = now_s
        if int(self._typed) in inputs:
            self.choose_track(int(self._typed))
            page.board.setFocus()
        elif not any(str(n).startswith(self._typed) for n in inputs):
            page.footer.say(f"There is no track {self._typed}.")

    def choose_track(self, number: int) -> None:
        """Choose that track everywhere."""
        page = self._page
        page.fix_list.choose_track(number)
        page.board.choose((number,))
        if page.closer_shown:
            page.closer.choose(number)

    def keep_focus(self, covered: bool) -> None:
        """Give the keys back to board, list or start page once nothing lies over them."""
        page = self._page
        if covered:
            self._on_board = page.board.hasFocus()
        elif self.watching:
            page.board.setFocus()
            if not self._on_board:
                page.fix_list.setFocus()
        else:
            self._start_page.inputs.setFocus()
