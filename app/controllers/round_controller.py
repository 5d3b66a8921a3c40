"""What the keys of a round do. Never begins by itself; the caution of listening comes first."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject

from app.controllers.headphones import Headphones
from app.models.key_bindings import Act
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.views.widgets.overlay import Layer
from app.views.widgets.prompt import Field, Prompt
from engine.model.commands import EndRound, RoundBack, RoundNext, RoundSay, RoundStay, StartRound
from engine.model.round_state import RoundState
from engine.model.snapshot import Snapshot


class RoundController(QObject):
    """Joins the keys, the bar and the watch. The engine says which track is heard."""

    def __init__(
        self, bridge: Bridge, prefs: Preferences, headphones: Headphones, layer: Layer
    ) -> None:
        page = headphones.page
        super().__init__(page)
        self._layer = layer
        self._bridge, self._prefs = bridge, prefs
        self._page, self._headphones = page, headphones
        self.state = RoundState()
        bar = page.round_bar
        bar.next_asked.connect(self.go_on)
        bar.back_asked.connect(self.back)
        bar.stay_asked.connect(self.stay)
        bar.right_asked.connect(self.sounds_right)
        bar.doubt_asked.connect(self.doubt)
        bar.end_asked.connect(self.end)

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What each key of a round does."""
        return {
            Act.ROUND: self.go_on,
            Act.ROUND_BACK: self.back,
            Act.ROUND_STAY: self.stay,
            Act.ROUND_RIGHT: self.sounds_right,
            Act.ROUND_DOUBT: self.doubt,
            Act.ROUND_DOUBT_WORDS: self.doubt_in_words,
            Act.ROUND_END: self.end,
        }

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Bring the bar up to date."""
        self.state = snapshot.round
        self._page.round_bar.show_state(self.state, self._page.plan)

    def go_on(self) -> None:
        """Start a round, or go on to its next track."""
        if self.state.on:
            self._bridge.ask(RoundNext())
            return
        choices = self._prefs.choices
        self._headphones.begin(StartRound(choices.round_s, choices.round_red > 0.0))

    def back(self) -> None:
        """The track before once more."""
        self._ask_in_round(RoundBack())

    def stay(self) -> None:
        """Stay on this track, or go on with the round."""
        self._ask_in_round(RoundStay())

    def sounds_right(self) -> None:
        """Nothing wrong with it; the next one."""
        self._ask_in_round(RoundSay(right=True))

    def doubt(self) -> None:
        """Something is not as it was."""
        self._ask_in_round(RoundSay(right=False))

    def doubt_in_words(self) -> None:
        """The same with a word for the log."""
        if not self.state.on:
            self._say_how()
            return
        title = f"Doubt about {self._page.round_bar.title.text()}"
        fields = (Field("What do you hear?"),)

        def say(words: tuple[str, ...]) -> None:
            self._bridge.ask(RoundSay(right=False, word=words[0]))

        self._layer.open(Prompt(self._layer.below, title, fields, say, lambda _words: ""))

    def end(self) -> None:
        """End the round."""
        self._ask_in_round(EndRound())

    def _ask_in_round(self, command: RoundBack | RoundStay | RoundSay | EndRound) -> None:
        if self.state.on:
            self._bridge.ask(command)
        else:
            self._say_how()

    def _say_how(self) -> None:
        self._page.footer.say("E starts a round: every track for some seconds in the headphones.")
