"""The page one looks at while watching: header, bands, board, fix list, footer."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QStackedWidget, QVBoxLayout, QWidget

from app.models import break_words
from app.models.alarm_card import Card, Trouble
from app.models.break_words import LONG_BREAK_S
from app.models.fix_cards import cards
from app.models.sign_lines import sign_lines
from app.style.theme import Look
from app.views.board.board import Board
from app.views.board.track_detail import TrackDetail
from app.views.drill.drill_panel import DrillPanel
from app.views.fix_list import FixList
from app.views.footer import Footer
from app.views.header import Header
from app.views.listen_bar import ListenBar
from app.views.round_bar import RoundBar
from app.views.widgets.bands import STANDBY_WORDS, Band
from engine.model.commands import Watch
from engine.model.messages import Severity
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan

NARROW_PX: Final = 1500
"""At the usual size of text: what drill and round need beside the list."""
ENDED: Final = "The take has ended. W: its report, Esc: start page."


class WatchPage(QWidget):
    """Hands each snapshot to its views; works out the cards only when they may differ."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.setObjectName("page")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.look = look
        self.header, self.footer = Header(), Footer()
        self.standby = Band("standby", "STANDBY", STANDBY_WORDS)
        self.silent = Band("silent", "NOT WATCHING")
        self.rest = Band("break", "BREAK")
        self.board, self.closer, self.fix_list = Board(look), TrackDetail(look), FixList()
        self.left = QStackedWidget()
        self.long_break_s = LONG_BREAK_S
        self.listen_bar, self.drill_panel = ListenBar(), DrillPanel(self)
        self.round_bar = RoundBar()
        self._bars = QWidget()
        self._scale = 1.0
        self._narrow: bool | None = None
        self.plan = Plan(())
        self.last: Snapshot | None = None
        self._cards_key: object = None
        self.cards: tuple[Card, ...] = ()
        self.troubles: tuple[Trouble, ...] = ()
        grid = self._grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(0)
        left, below = QVBoxLayout(), QVBoxLayout(self._bars)
        for column in (left, below):
            column.setContentsMargins(0, 0, 0, 0)
            column.setSpacing(0)
        for band in (self.standby, self.rest, self.silent):
            left.addWidget(band)
        for view in (self.board, self.closer):
            self.left.addWidget(view)
        left.addWidget(self.left, 1)
        for bar in (self.drill_panel, self.round_bar, self.listen_bar):
            below.addWidget(bar)
        grid.addWidget(self.header, 0, 0, 1, 2)
        grid.addLayout(left, 1, 0)
        grid.setColumnStretch(0, 1)
        grid.setRowStretch(1, 1)
        self._place_bars()

    def resizeEvent(self, _event: object) -> None:  # noqa: N802
        """Put the bars where they have room."""
        self._place_bars()

    def _place_bars(self) -> None:
        """Drill, round and headphones: under the board, where it is narrow under the list too."""
        narrow = self.width() < NARROW_PX * self._scale
        if narrow == self._narrow:
            return
        self._narrow = narrow
        for part in (self._bars, self.fix_list):
            self._grid.removeWidget(part)
        self._grid.addWidget(self._bars, 2, 0, 1, 2 if narrow else 1)
        self._grid.addWidget(self.fix_list, 1, 1, 1 if narrow else 2, 1)

    def set_look(self, look: Look, scale: float) -> None:
        """Change colours and size of all views."""
        self.look, self._scale = look, scale
        self.fix_list.setFixedWidth(round(380 * scale))
        for part in (self.header, self.footer, self.standby, self.silent, self.listen_bar):
            part.set_scale(scale)
        self.header.set_look(look.name)
        self.rest.set_scale(scale)
        self.round_bar.set_scale(scale)
        self.drill_panel.set_scale(scale)
        self.board.set_look(look, scale)
        self.closer.set_look(look, scale)
        self.fix_list.set_look(look, scale)
        self._place_bars()

    def start(self, watch: Watch) -> None:
        """Begin with a new watch."""
        self.plan, self.last = watch.plan, None
        self._cards_key, self.cards = None, ()
        self.header.start(watch)
        self.board.start(watch.plan)
        self.closer.start(watch.plan)
        self.left.setCurrentWidget(self.board)
        self.fix_list.put(())
        self.footer.say("")
        self.standby.hide()
        self.rest.hide()
        self.silent.hide()
        self.listen_bar.hide()
        self.round_bar.hide()

    def change_plan(self, watch: Watch) -> None:
        """Another plan of the same watch: what is chosen and looked at stays so, if it has it."""
        inputs = {track.input for track in watch.plan.tracks}
        chosen = sorted(inputs.intersection(self.board.chosen))
        self.plan, self._cards_key = watch.plan, None
        self.header.start(watch)
        self.board.start(watch.plan)
        self.closer.change(watch.plan)
        if self.closer_shown and self.closer.track is None:
            self.look_closer(None)
        self.board.choose(chosen)

    def show_snapshot(self, snapshot: Snapshot) -> tuple[Card, ...]:
        """Show it everywhere; returns the cards."""
        self.last = snapshot
        self.board.show_snapshot(snapshot)
        self.closer.show_snapshot(snapshot)
        self.header.show_snapshot(snapshot)
        self.footer.show_snapshot(snapshot)
        if self.standby.isVisibleTo(self) != snapshot.standby:
            self.standby.setVisible(snapshot.standby)
        if self.silent.isVisibleTo(self):
            self.silent.hide()
        self._show_break(snapshot)
        alarms = (snapshot.alarms, snapshot.covers)
        beside = (snapshot.signs, snapshot.pickups)
        key = (int(snapshot.now_s), alarms, snapshot.desk, self.troubles, beside)
        if key != self._cards_key:
            self._cards_key = key
            self.cards = cards(self.plan, snapshot, self.troubles)
            self.fix_list.put(self.cards)
            lines = sign_lines(snapshot.signs, self.plan, snapshot.now_s)
            red = any(card.severity is Severity.RED for card in self.cards)
            self.fix_list.signs.put(lines, brief=red)
        return self.cards

    def _show_break(self, snapshot: Snapshot) -> None:
        words = break_words.words(snapshot.desk, snapshot.now_s, self.long_break_s)
        if words:
            self.rest.say(words)
        elif self.rest.isVisibleTo(self):
            self.rest.hide()

    @property
    def closer_shown(self) -> bool:
        """One track is looked at instead of the board."""
        return self.left.currentWidget() is self.closer

    def toggle_closer(self) -> None:
        """Look closer at the chosen track, or at the board again."""
        chosen = sorted(self.board.chosen)
        if self.closer_shown or chosen:
            self.look_closer(None if self.closer_shown else chosen[0])
        else:
            self.footer.say("Choose a track first, then V to look closer.")

    def look_closer(self, number: int | None) -> None:
        """Look at that track instead of the board; None, or the same again: the board."""
        same = self.closer.track is not None and self.closer.track.input == number
        if number is None or (same and self.closer_shown):
            self.left.setCurrentWidget(self.board)
            return
        self.closer.choose(number)
        self.left.setCurrentWidget(self.closer)
        if self.last is not None:
            self.closer.show_snapshot(self.last)

    def show_end(self) -> None:
        """The take has ended: what is left to do."""
        self.footer.say(ENDED, stay=True)

    def show_silence(self, words: str) -> None:
        """The engine does not answer, or the watch broke off."""
        self.silent.say(words)
