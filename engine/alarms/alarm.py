"""One alarm as the book keeps it, and the steps that hide it and bring it back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from engine.alarms import machine
from engine.alarms.evaluate import INPUT
from engine.alarms.machine import AlarmRecord
from engine.alarms.states import HIDDEN, Event
from engine.model.faults import FaultRule
from engine.model.messages import Alarm, AlarmEvent, AlarmState, EventKind, Incident

Key = tuple[int | str, str]
"""(place of the track, INPUT, or the name of a cause) and the family."""

KINDS: Final = {
    Event.RAISE: EventKind.RAISED,
    Event.ESCALATE: EventKind.ESCALATED,
    Event.CLEAR: EventKind.CLEARED,
    Event.ACKNOWLEDGE: EventKind.SEEN,
    Event.SHELVE: EventKind.SHELVED,
    Event.SUPPRESS: EventKind.SUPPRESSED,
    Event.REMOVE: EventKind.OUT_OF_SERVICE,
}


@dataclass(slots=True)
class TrackAlarm:
    """One alarm: its core, its newest incident, and what hides it.

    `until_s` is when a shelving ends by itself; `part_of` the cause that speaks for it.
    """

    key: Key
    rule: FaultRule
    core: AlarmRecord = field(default_factory=AlarmRecord)
    incident: Incident | None = None
    seen_s: float | None = None
    until_s: float | None = None
    part_of: str | None = None

    @property
    def place(self) -> int | None:
        """Place of the track; None for the whole input or a cause."""
        place = self.key[0]
        return place if isinstance(place, int) and place != INPUT else None

    @property
    def is_cause(self) -> bool:
        """It speaks for several tracks that failed together."""
        return isinstance(self.key[0], str)

    @property
    def alarm(self) -> Alarm:
        """The alarm as it stands; there must be an incident."""
        assert self.incident is not None
        core = self.core
        return Alarm(self.incident, core.state, self.seen_s, self.until_s, core.unstable)

    @property
    def standing(self) -> bool:
        """There is something to show: a condition, or an alarm not yet seen, or shelved."""
        kept = self.core.state in (AlarmState.RETURNED, AlarmState.SHELVED)
        return self.incident is not None and (self.core.raised or kept)

    def hide(self, event: Event, now_s: float) -> list[AlarmEvent]:
        """Shelve, suppress or take out of service, where the states allow it."""
        before = self.core.state
        self.core = machine.hide(self.core, event)
        if self.core.state is before or self.incident is None:
            return []
        self.until_s = None
        return [AlarmEvent(KINDS[event], now_s, self.alarm)]

    def release(self, kind: EventKind, hidden_by: Event | None, now_s: float) -> list[AlarmEvent]:
        """Bring it back, unless something else still hides it."""
        self.core = machine.release(self.core)
        if hidden_by is not None:
            self.core = machine.hide(self.core, hidden_by)
        self.seen_s = self.until_s = None
        if self.incident is None:
            return []
        audible = self.core.state is AlarmState.UNACKNOWLEDGED and not self.core.unstable
        return [AlarmEvent(kind, now_s, self.alarm, audible)]


def urgency(alarm: Alarm) -> tuple[int, int, int, float, int]:
    """Sort key: shown before hidden, standing before returned, uncovered, red, then the oldest."""
    incident = alarm.incident
    hidden = alarm.state in HIDDEN
    returned = alarm.state is AlarmState.RETURNED
    return (
        2 * hidden + returned,
        not incident.uncovered,
        -int(incident.severity),
        incident.onset_s,
        incident.id,
    )
