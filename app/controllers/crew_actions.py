"""What keys and buttons ask of the watch: seen, shelved, noted, marked, breaks, batteries."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from app.models import undo
from app.models.alarm_card import Card
from app.models.choices import Choices
from app.models.key_bindings import Act
from app.models.undo import Undo
from app.services.bridge import Bridge
from app.style import wording
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer
from app.views.widgets.prompt import Field, Prompt
from engine.model.batteries import lasts_s
from engine.model.commands import (
    Acknowledge,
    AcknowledgeAll,
    Break,
    Command,
    FreshBattery,
    Mark,
    Note,
    OutOfService,
    Shelve,
    Standby,
    SwapInputs,
    Unshelve,
)
from engine.model.messages import Alarm, AlarmState, Fault

NO_ENTRY = "No entry is selected."
NO_SWAP = "Choose an entry that says which two inputs are swapped."
NO_TRACK = "Choose a track first."
LASTS_WORDS = "A time such as 4h, 3h30 or 90min; or leave it empty."


class CrewActions:
    """Turns what is chosen on the page into commands, and remembers how to take them back."""

    def __init__(self, bridge: Bridge, page: WatchPage, layer: Layer) -> None:
        self._bridge, self._page, self._layer = bridge, page, layer
        self.choices = Choices()
        self._undo = Undo()

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What each key of the crew does."""
        return {
            Act.SEEN: self.see,
            Act.ALL_SEEN: self.see_all,
            Act.SHELVE: self.shelve,
            Act.SHELVE_LONG: self.shelve_long,
            Act.SHELVE_OPEN: self.shelve_open,
            Act.UNDO: self.undo,
            Act.SWAP: self.swap,
            Act.NOTE: self.note,
            Act.MARK: self.mark,
            Act.MARK_WORDS: self.mark_words,
            Act.BATTERY: self.battery,
            Act.OUT: self.out_of_service,
            Act.STANDBY: self.standby,
            Act.BREAK: self.take_break,
        }

    def start(self) -> None:
        """A new watch: what was done in the last one can't be taken back any more."""
        self._undo = Undo()

    def _send(self, commands: Sequence[Command]) -> None:
        for command in commands:
            self._bridge.ask(command)

    def _chosen(self, card: Card | None) -> tuple[Card | None, list[Alarm]]:
        """The card asked for, or the chosen one, and its alarms."""
        card, last = card or self._page.fix_list.current, self._page.last
        if card is None or last is None:
            return None, []
        return card, [a for a in last.alarms if a.incident.id in card.incidents]

    # The chosen entry

    def see(self, card: Card | None = None) -> None:
        """Acknowledge it."""
        card, alarms = self._chosen(card)
        if card is not None:
            self._undo.add(f"seen {card.title}", undo.unsee(alarms))
            self._send([Acknowledge(number) for number in card.incidents])
        else:
            self._say(NO_ENTRY)

    def see_all(self) -> None:
        """Acknowledge all that stands."""
        last = self._page.last
        self._undo.add("all seen", undo.unsee(last.alarms if last else ()))
        self._send([AcknowledgeAll()])

    def shelve(self, card: Card | None = None) -> None:
        """Shelve it for the short time, or put it back."""
        card, alarms = self._chosen(card)
        last = self._page.last
        if card is None or last is None or card.state is not AlarmState.SHELVED:
            self._shelve(card, self.choices.shelve_min * 60)
            return
        self._undo.add(f"put back {card.title}", undo.shelve_again(alarms, last.now_s))
        self._send([Unshelve(number) for number in card.incidents])

    def shelve_long(self) -> None:
        """Shelve it for the long time."""
        self._shelve(None, self.choices.shelve_long_min * 60)

    def shelve_open(self) -> None:
        """Shelve it until it is put back."""
        self._shelve(None, None)

    def _shelve(self, card: Card | None, seconds: float | None) -> None:
        card, alarms = self._chosen(card)
        if card is not None:
            self._undo.add(f"shelved {card.title}", undo.unshelve(alarms))
            self._send([Shelve(number, seconds) for number in card.incidents])
        else:
            self._say(NO_ENTRY)

    def note(self) -> None:
        """Ask for words on it."""
        card = self._page.fix_list.current
        if card is None or not card.incidents:
            self._say(NO_ENTRY)
            return
        number = card.incidents[0]
        self._ask(
            f"Note on {card.title}",
            (Field("Note"),),
            lambda values: self._send([Note(number, values[0])] if values[0] else []),
        )

    def swap(self) -> None:
        """Swap its two inputs in the plan, where it says that they changed places."""
        _, alarms = self._chosen(None)
        pairs = [a.incident.tracks for a in alarms if a.incident.fault is Fault.SWAPPED]
        if pairs and len(pairs[0]) == 2:
            one, other = pairs[0]
            self._send([SwapInputs(one, other)])
            self._say(f"Inputs {one} and {other} are swapped in the plan.")
        else:
            self._say(NO_SWAP)

    # The chosen tracks

    def out_of_service(self) -> None:
        """Take them out of service, or put them back."""
        last, chosen = self._page.last, sorted(self._page.board.chosen)
        if last is None or not chosen:
            self._say(NO_TRACK)
            return
        removed = [n for n in chosen if n in last.out_of_service]
        here = [n for n in chosen if n not in removed]
        self._undo.add(
            f"service of {wording.numbers(chosen)}",
            [*undo.in_service(here, False), *undo.in_service(removed, True)],
        )
        self._send([OutOfService(n, n not in removed) for n in chosen])

    def battery(self) -> None:
        """Ask when a fresh battery was put into them, and how long it lasts."""
        last, chosen = self._page.last, sorted(self._page.board.chosen)
        if last is None or not chosen:
            self._say(f"{NO_TRACK} Its pack gets the fresh battery.")
            return
        known = {t.input: t.battery for t in self._page.plan.tracks}
        names = {t.input: t.who or t.label for t in self._page.plan.tracks}
        name = " and ".join(dict.fromkeys(names.get(n, "") for n in chosen))
        now_s = last.now_s

        def put_in(values: tuple[str, ...]) -> None:
            at_s = now_s - 60 * float(values[0] or 0)
            self._send([FreshBattery(number, at_s, values[1]) for number in chosen])

        fields = (
            Field("Changed, minutes ago", "0"),
            Field("Lasts", known.get(chosen[0], ""), "4h, 3h30 or 90min"),
        )
        self._ask(
            f"Battery changed in {wording.numbers(chosen)} {name}", fields, put_in, _battery_mistake
        )

    # The whole watch

    def undo(self) -> None:
        """Take the last thing back."""
        step = self._undo.take()
        if step is None:
            self._say("Nothing to undo.")
            return
        self._send(step.back)
        self._say(f"Undone: {step.words}.")

    def standby(self) -> None:
        """Standby or rolling."""
        last = self._page.last
        if last is not None:
            self._send([Standby(not last.standby)])

    def take_break(self) -> None:
        """Begin a break, or end it."""
        last = self._page.last
        if last is not None:
            self._send([Break(not last.desk.on_break)])

    def mark(self) -> None:
        """Drop a mark now."""
        last = self._page.last
        if last is not None:
            self._send([Mark("", last.now_s)])
            self._say(f"Mark at {self._page.header.clock.text()}. Shift+M: with words")

    def mark_words(self) -> None:
        """Ask for the words of a mark at the moment the key was pressed."""
        last = self._page.last
        if last is not None:
            title = f"Mark at {self._page.header.clock.text()}"
            now_s = last.now_s
            self._ask(title, (Field("Words"),), lambda v: self._send([Mark(v[0], now_s)]))

    def _ask(
        self,
        title: str,
        fields: tuple[Field, ...],
        done: Callable[[tuple[str, ...]], None],
        mistake: Callable[[tuple[str, ...]], str] = lambda _values: "",
    ) -> None:
        self._layer.open(Prompt(self._layer.below, title, fields, done, mistake))

    def _say(self, words: str) -> None:
        self._page.footer.say(words)


def _battery_mistake(values: tuple[str, ...]) -> str:
    """What is wrong with the words typed; empty where nothing is."""
    try:
        minutes = float(values[0] or 0)
    except ValueError:
        minutes = -1.0
    if not 0 <= minutes <= 24 * 60:
        return "Minutes ago: a number from 0 to 1440."
    return "" if not values[1] or lasts_s(values[1]) else f"Lasts: {LASTS_WORDS}"
