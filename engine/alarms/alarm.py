"""The alarm of one track and family, and the steps that hide it and bring it back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from engine.alarms import machine
from engine.alarms.evaluate import INPUT
from engine.alarms.machine import AlarmRecord
from engine.alarms.states import HIDDEN, Event
from engine.model.fault_rules import FaultRule
from engine.model.messages import Alarm, AlarmEvent, AlarmState, EventKind, Incident, Severity

Key = tuple[int | str, str]
"""(index of the track, INPUT, or the name of a common cause) and the family."""

UNHEARD: Final = "nothing yet"
"""Stands for the cause that inputs share which nobody named and on which nothing came yet."""

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
    """One alarm: its record, its newest incident, and what hides it.

    `until_s` is when a shelving ends by itself; `part_of` the common cause that suppresses it;
    `unseen`: it was suppressed while red, and nobody had seen it.
    """

    key: Key
    rule: FaultRule
    record: AlarmRecord = field(default_factory=AlarmRecord)
    incident: Incident | None = None
    seen_s: float | None = None
    until_s: float | None = None
    part_of: str | None = None
    unseen: bool = False

    @property
    def track_index(self) -> int | None:
        """Index of the track; None for the whole input or a common cause."""
        index = self.key[0]
        return index if isinstance(index, int) and index != INPUT else None

    @property
    def is_cause(self) -> bool:
        """It speaks for several tracks that failed together."""
        return isinstance(self.key[0], str)

    @property
    def shown(self) -> Alarm:
        """The alarm as the crew sees it; there must be an incident."""
        assert self.incident is not None
        record = self.record
        return Alarm(self.incident, record.state, self.seen_s, self.until_s, record.unstable)

    @property
    def standing(self) -> bool:
        """There is something to show: a condition, or an alarm not yet seen, or shelved."""
        put_aside = self.record.state in (AlarmState.RETURNED, AlarmState.SHELVED)
        return self.incident is not None and (self.record.raised or put_aside)

    def hide(self, event: Event, now_s: float) -> list[AlarmEvent]:
        """Shelve, suppress or take out of service, where the states allow it."""
        before = self.record.state
        self.record = machine.apply(self.record, event)
        if self.record.state is before or self.incident is None:
            return []
        red = before is AlarmState.UNACKNOWLEDGED and self.record.severity is Severity.RED
        self.unseen = event is Event.SUPPRESS and red
        self.until_s = None
        return [AlarmEvent(KINDS[event], now_s, self.shown)]

    def release(self, kind: EventKind, hidden_by: Event | None, now_s: float) -> list[AlarmEvent]:
        """Bring it back, unless something else still hides it."""
        self.record = machine.release(self.record)
        if hidden_by is not None:
            self.record = machine.apply(self.record, hidden_by)
        self.seen_s = self.until_s = None
        self.unseen = False
        if self.incident is None:
            return []
        audible = self.record.state is AlarmState.UNACKNOWLEDGED and not self.record.unstable
        return [AlarmEvent(kind, now_s, self.shown, audible)]


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
