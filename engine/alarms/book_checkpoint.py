"""What a book of alarms must remember over a restart: states, open incidents, what the crew set.

Its fields are the names in a session's log, which older logs share; `AlarmRecord`'s may change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from engine.alarms.alarm import TrackAlarm
from engine.alarms.book import Book
from engine.alarms.evaluate import INPUT
from engine.alarms.machine import AlarmRecord
from engine.alarms.states import Phase
from engine.model.alarm_limits import NEVER
from engine.model.fault_remedies import NOTHING_YET
from engine.model.fault_rules import FaultRule
from engine.model.messages import AlarmState, Fault, Incident
from engine.model.track_remap import TrackRemap

GONE: Final = -2
"""Stands for the index of a track that is not watched any more."""

_ID_STEP: Final = 1000
"""Numbers given after the last save are lost in a crash; the next start begins well above them."""


@dataclass(frozen=True, slots=True)
class RecordCheckpoint:
    """An `AlarmRecord` as the log has it: the phase shows in `fault`, `amber_s` and `clearing`."""

    state: AlarmState = AlarmState.NORMAL
    fault: Fault | None = None
    since_s: float = 0.0
    until_s: float = 0.0
    rank: int = 0
    named_until_s: float = 0.0
    clearing: bool = False
    amber_due_s: float = NEVER
    red_due_s: float = NEVER
    amber_s: float | None = None
    red_s: float | None = None
    raises_s: tuple[float, ...] = ()
    named_since_s: float | None = None
    """Not in older logs."""

    @classmethod
    def of(cls, record: AlarmRecord) -> RecordCheckpoint:
        """That record for the log."""
        return cls(
            record.state,
            record.fault,
            record.since_s,
            record.until_s,
            record.rank,
            record.named_until_s,
            record.phase is Phase.CLEARING,
            record.amber_due_s,
            record.red_due_s,
            record.amber_s,
            record.red_s,
            record.raises_s,
            record.named_since_s,
        )

    @property
    def phase(self) -> Phase:
        """The phase that the log tells by what is there."""
        if self.fault is None:
            return Phase.CLEAR
        if self.amber_s is None:
            return Phase.PENDING
        return Phase.CLEARING if self.clearing else Phase.ACTIVE

    def record(self) -> AlarmRecord:
        """The record that the log tells of."""
        return AlarmRecord(
            self.state,
            self.phase,
            self.fault,
            self.since_s,
            self.until_s,
            self.rank,
            self.since_s if self.named_since_s is None else self.named_since_s,
            self.named_until_s,
            self.amber_due_s,
            self.red_due_s,
            self.amber_s,
            self.red_s,
            self.raises_s,
        )


@dataclass(frozen=True, slots=True)
class AlarmCheckpoint:
    """One alarm; `place` (a track's index, or a cause) and `family` are its key.

    `fault` names its rule, `core` is its record.
    """

    place: int | str
    family: str
    fault: Fault
    core: RecordCheckpoint
    incident: Incident | None
    seen_s: float | None
    until_s: float | None
    part_of: str | None
    unseen: bool = False
    """Not in older logs."""


@dataclass(frozen=True, slots=True)
class BookCheckpoint:
    """A whole book; `removed` are the input numbers of tracks out of service."""

    standby: bool
    removed: tuple[int, ...]
    last_id: int
    alarms: tuple[AlarmCheckpoint, ...]


def save(book: Book) -> BookCheckpoint:
    """How the book stands."""
    alarms = tuple(
        AlarmCheckpoint(
            alarm.key[0],
            alarm.key[1],
            alarm.rule.fault,
            RecordCheckpoint.of(alarm.record),
            alarm.incident,
            alarm.seen_s,
            alarm.until_s,
            alarm.part_of,
            alarm.unseen,
        )
        for alarm in book.track_alarms
        if alarm.record != AlarmRecord() or alarm.part_of is not None
    )
    return BookCheckpoint(book.standby, book.inputs_out_of_service, book.last_id, alarms)


def moved(saved: BookCheckpoint, remap: TrackRemap) -> BookCheckpoint:
    """The same for tracks that lie elsewhere now, without alarms of tracks that are gone."""
    now = remap.new
    alarms = [
        alarm
        if isinstance(alarm.place, str) or alarm.place == INPUT
        else replace(alarm, place=now.get(alarm.place, GONE))
        for alarm in saved.alarms
    ]
    return replace(saved, alarms=tuple(alarm for alarm in alarms if alarm.place != GONE))


def restore(book: Book, saved: BookCheckpoint, rules: Sequence[FaultRule]) -> None:
    """Bring a fresh book of the same tracks to where another one stood.

    An alarm whose fault or track is not known any more is left out.
    """
    book.standby = saved.standby
    book.empty_inputs.were_judged()
    book.last_id = (saved.last_id // _ID_STEP + 1) * _ID_STEP
    indices = (book.track_index_of(number) for number in saved.removed)
    book.out_of_service = {index for index in indices if index is not None}
    for alarm in saved.alarms:
        rule = next(
            (r for r in (*rules, NOTHING_YET) if (r.fault, r.group) == (alarm.fault, alarm.family)),
            None,
        )
        known = isinstance(alarm.place, str) or alarm.place < len(book.scene.tracks)
        if rule is None or not known:
            continue
        key = (alarm.place, alarm.family)
        record = alarm.core.record()
        book.alarms_by_key[key] = TrackAlarm(
            key,
            rule,
            record,
            alarm.incident,
            alarm.seen_s,
            alarm.until_s,
            alarm.part_of,
            alarm.unseen,
        )
    book.refresh_cover()
