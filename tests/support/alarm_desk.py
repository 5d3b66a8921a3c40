"""A book of alarms on a bench: faults are switched on and off by hand, tick by tick."""

from __future__ import annotations

from engine.alarms.book import Book
from engine.alarms.common_cause import CauseAlarms
from engine.alarms.plan_change import carry_over
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import FaultRule, Scope
from engine.model.messages import Alarm, AlarmEvent, Condition, EventKind, Fault, Incident, State
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene, Track
from tests.support.conditions import blank

TICK_S = 0.1


class Desk:
    """Tracks, a book on the real table of faults, and a clock that only `run` moves."""

    def __init__(self, *tracks: Track, remembers: int | None = None) -> None:
        self.scene = Scene(tracks, 48_000)
        self.book = Book(self.scene, FAULTS, remembers)
        self.cause_alarms = CauseAlarms(self.book)
        self.ticks = 0
        self.unknown = False
        self.seen = "digital zero"
        self.seen_on: dict[int, str] = {}
        self._on: dict[tuple[str, int], tuple[float, bool]] = {}
        self._unknown: set[tuple[str, int]] = set()

    @property
    def now_s(self) -> float:
        """Stream time at the end of the last tick."""
        return self.ticks * TICK_S

    def fail(
        self,
        fault: Fault,
        *inputs: int,
        onset_s: float | None = None,
        may_be_red: bool = True,
    ) -> None:
        """Switch a fault on, from now or from that onset; without inputs: on the whole input."""
        for place in self._places(inputs):
            rule = self._rule(fault, Scope.TRACK if inputs else Scope.INPUT)
            self._on[rule, place] = (self.now_s if onset_s is None else onset_s, may_be_red)

    def mend(self, fault: Fault, *inputs: int) -> None:
        """Switch it off."""
        for place in self._places(inputs):
            del self._on[self._rule(fault, Scope.TRACK if inputs else Scope.INPUT), place]

    def not_looked_for(self, fault: Fault, *inputs: int) -> None:
        """What the plan leaves off is known on none of those inputs."""
        self._unknown |= {(self._rule(fault, Scope.TRACK), at) for at in self._places(inputs)}

    def run(self, seconds: float) -> list[AlarmEvent]:
        """Let that much time pass; returns what happened."""
        events: list[AlarmEvent] = []
        for _ in range(round(seconds / TICK_S)):
            start_s = self.now_s
            self.ticks += 1
            conditions = {rule.name: self._condition(rule) for rule in FAULTS}
            told = self.book.step(conditions, self._detail, start_s, self.now_s)
            events += self.cause_alarms.step(told, start_s, self.now_s)
        return events

    def _detail(self, rule: FaultRule, track_index: int) -> str:
        return self.seen_on.get(track_index, self.seen)

    def change(self, scene: Scene, remap: TrackRemap) -> list[AlarmEvent]:
        """Watch by that scene from now on; returns what happened."""
        self.scene = scene
        self.book, events = carry_over(self.book, scene, FAULTS, remap, self.now_s)
        self.cause_alarms = CauseAlarms(self.book)
        return events

    def alarm(self, fault: Fault, track: int | None) -> Alarm:
        """The one alarm of that fault on that input."""
        (found,) = [
            alarm
            for alarm in self.book.alarms()
            if alarm.incident.fault is fault and alarm.incident.track == track
        ]
        return found

    def incidents(self, track: int | None) -> list[Incident]:
        """All incidents of that input, by onset."""
        return [i for i in self.book.incidents() if i.track == track]

    def _condition(self, rule: FaultRule) -> Condition:
        made = blank(1 if rule.scope is Scope.INPUT else len(self.scene.tracks))
        if self.unknown:
            made.state[:] = State.UNKNOWN
            return made
        for which, place in self._unknown:
            if which == rule.name:
                made.state[place] = State.UNKNOWN
        for (which, place), (onset_s, may_be_red) in self._on.items():
            if which == rule.name:
                made.state[place] = State.ACTIVE
                made.onset_s[place], made.last_s[place] = onset_s, self.now_s
                made.may_be_red[place] = may_be_red
        return made

    def _places(self, inputs: tuple[int, ...]) -> list[int]:
        known = [track.input for track in self.scene.tracks]
        return [known.index(n) for n in inputs] or [0]

    @staticmethod
    def _rule(fault: Fault, scope: Scope) -> str:
        (found,) = [r.name for r in FAULTS if r.fault is fault and r.scope is scope]
        return found


def kinds(events: list[AlarmEvent]) -> list[EventKind]:
    """What happened, in order."""
    return [event.kind for event in events]


def chimes(events: list[AlarmEvent]) -> list[AlarmEvent]:
    """What was heard."""
    return [event for event in events if event.audible]


def order(desk: Desk) -> list[int | None]:
    """The inputs of the alarms in the order of the list."""
    return [alarm.incident.track for alarm in desk.book.alarms()]


def stand(desk: Desk, fault: Fault = Fault.MUTED, track: int = 1) -> Alarm:
    """An alarm that stands, amber."""
    desk.fail(fault, track)
    desk.run(0.6)
    return desk.alarm(fault, track)
