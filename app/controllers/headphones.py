"""What the keys of listening do: which track, from when, how loud. Never begins by itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

from app.models.alarm_card import Card
from app.models.key_bindings import Act
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.style import wording
from app.views.listen_bar import Caution, ListenBar, ListenPage
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer
from engine.model.commands import (
    Listen,
    ListenDevice,
    ListenLevel,
    StartRound,
    StopListening,
    SwitchPack,
)
from engine.model.listening import BEFORE_FAULT_S, Listening
from engine.model.snapshot import Snapshot

STEP_DB: Final = 3.0


class Headphones(QObject):
    """Joins the keys, the bar and the watch. The engine says what is really heard.

    `outputs_wanted` asks for the names of all outputs; `offer` takes them.
    """

    outputs_wanted = Signal()

    def __init__(self, bridge: Bridge, prefs: Preferences, page: WatchPage, layer: Layer) -> None:
        super().__init__(page)
        self._bridge, self._prefs = bridge, prefs
        self.page, self._layer = page, layer
        self.bar: ListenBar = page.listen_bar
        self.state = Listening()
        self.cautioned = False
        bridge.started.connect(self._begin_anew)
        self.bar.softer_asked.connect(self.softer)
        self.bar.louder_asked.connect(self.louder)
        self.bar.other_asked.connect(self.other)
        self.bar.fault_asked.connect(self.before_fault)
        self.bar.output_asked.connect(self.show_page)
        self.bar.stop_asked.connect(self.stop)
        page.fix_list.listen_asked.connect(self._hear_card)

    def _begin_anew(self) -> None:
        """Another watch: another event, and maybe another pair of ears."""
        self.cautioned = False

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What each key of listening does."""
        return {
            Act.LISTEN: self.listen,
            Act.LISTEN_FAULT: self.before_fault,
            Act.OTHER_PACK: self.other,
            Act.LOUDER: self.louder,
            Act.SOFTER: self.softer,
            Act.HEADPHONES: self.show_page,
        }

    @property
    def playing(self) -> bool:
        """Something is heard."""
        return self.state.track is not None

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Bring the bar up to date."""
        self.state = snapshot.listening or Listening()
        self.bar.show_state(self.state, self.page.plan, snapshot.now_s)

    def _chosen(self) -> int | None:
        chosen = sorted(self.page.board.chosen)
        if not chosen:
            self.page.footer.say("Choose a track or an entry first, then L to listen.")
            return None
        return chosen[0]

    def listen(self) -> None:
        """Hear the chosen track live; the one that plays already stops."""
        if self.playing and self.page.board.chosen <= {self.state.track}:
            self.stop()
            return
        track = self._chosen()
        if track is not None:
            self.begin(Listen(track))

    def _hear_card(self, card: Card) -> None:
        """Hear what an entry is about, live."""
        self.page.fix_list.choose(card.key)
        if self.playing and self.state.track in card.tracks:
            self.stop()
        else:
            self.begin(Listen(min(card.tracks)))

    def before_fault(self) -> None:
        """Hear the chosen track from 5 s before its fault began."""
        track, last = self._chosen(), self.page.last
        if track is None or last is None:
            return
        for alarm in last.alarms:  # most urgent first
            one = alarm.incident
            if track == one.track or track in one.tracks:
                self._tell_what_is_kept(last.now_s - one.onset_s)
                self.begin(Listen(track, max(one.onset_s - BEFORE_FAULT_S, 0.0)))
                return
        self.page.footer.say("No fault on this track: L to hear it live.")

    def _tell_what_is_kept(self, ago_s: float) -> None:
        """Where the memory does not reach back to the begin of a fault, say so."""
        kept_s = self.state.kept_s
        if 0.0 < kept_s < ago_s + BEFORE_FAULT_S:
            began = f"This fault began {wording.lasted(ago_s)} ago"
            self.page.footer.say(f"{began}; the last {wording.lasted(kept_s)} are kept.")

    def begin(self, asked: Listen | StartRound) -> None:
        """Play that; the first time in each watch only after the caution was read."""
        if self.cautioned:
            self._ask(asked)
            return
        caution = Caution(self._layer.below)
        caution.yes.clicked.connect(lambda: self._accept(asked))
        self._layer.open(caution)

    def _accept(self, asked: Listen | StartRound) -> None:
        self.cautioned = True
        self._ask(asked)

    def _ask(self, asked: Listen | StartRound) -> None:
        self._bridge.ask(ListenDevice(self._prefs.listen_output))
        self._bridge.ask(asked)

    def other(self) -> None:
        """Hear the other pack of this person, at the same place and as loud."""
        if self.playing:
            self._bridge.ask(SwitchPack())

    def louder(self) -> None:
        """Up one step, never over the limit."""
        self._step(STEP_DB)

    def softer(self) -> None:
        """Down one step."""
        self._step(-STEP_DB)

    def _step(self, by_db: float) -> None:
        if self.playing:
            level_db = min(self.state.level_db + by_db, self.state.limit_db)
            self._bridge.ask(ListenLevel(level_db, self.state.limit_db))

    def stop_first(self) -> bool:
        """Stop what is heard; False where nothing is."""
        if not self.playing:
            return False
        self.stop()
        return True

    def stop(self) -> None:
        """Fade out."""
        self._bridge.ask(StopListening())

    def show_page(self) -> None:
        """Output and limit."""
        page = ListenPage(self._layer.below, self._prefs.listen_output, self.state.limit_db)
        page.output_chosen.connect(self._set_output)
        page.limit_chosen.connect(self._set_limit)
        self._layer.open(page)
        self.outputs_wanted.emit()

    def offer(self, names: Sequence[str]) -> None:
        """These outputs are there."""
        page: QWidget | None = self._layer.current
        if isinstance(page, ListenPage):
            page.output.offer(names)

    def _set_output(self, name: str) -> None:
        self._prefs.listen_output = name
        self._bridge.ask(ListenDevice(name))

    def _set_limit(self, limit_db: float) -> None:
        self._bridge.ask(ListenLevel(min(self.state.level_db, limit_db), limit_db))
