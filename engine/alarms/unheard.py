"""One amber alarm for all inputs of which nothing is known and on which nothing came yet.

An input that no plan and no name speaks of may well be empty: where it was quiet from the watch's
first moment on, nothing was lost. Such inputs are one alarm, never red, and theirs are suppressed.
What a plan names is expected to sound, and speaks for itself. Source: ours, CONTRACT.md.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from engine.alarms.alarm import UNHEARD, Key, TrackAlarm
from engine.alarms.book import Book
from engine.alarms.machine import ActiveFault, Evaluation
from engine.model.alarm_limits import NEVER
from engine.model.fault_remedies import NOTHING_YET
from engine.model.fault_rules import LOSS
from engine.model.messages import AlarmEvent, State

KEY: Final[Key] = (UNHEARD, NOTHING_YET.group)
DETAIL: Final = "no plan speaks of them, and nothing came since the watch began"


class UnheardAlarm:
    """Steps the one alarm, after those of the tracks and before those of common causes."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._unplanned = book.empty_inputs.unplanned

    def step(self, start_s: float, now_s: float) -> list[AlarmEvent]:
        """Take in one tick of the tracks' alarms; returns what is added."""
        known = self._book.find(KEY)
        stands = known is not None and known.record.raised
        if not self._unplanned and not stands:
            return []
        members = self._members()
        if not members and not stands:
            return self._let_go([], now_s)
        inputs = tuple(self._book.scene.tracks[a.track_index or 0].input for a in members)
        events = self._book.advance(
            KEY,
            [NOTHING_YET],
            _evaluation(members, now_s),
            lambda rule, index: DETAIL,
            start_s,
            now_s,
            inputs,
        )
        alarm = self._book.find(KEY)
        if alarm is not None and alarm.incident is not None and members:
            alarm.incident = replace(alarm.incident, tracks=inputs)
        return events + self._gather(members, now_s) + self._let_go(members, now_s)

    def _members(self) -> list[TrackAlarm]:
        """The raised losses of inputs that were quiet from the start on."""
        quiet = self._book.empty_inputs.quiet_at_first
        found = [self._book.find((index, LOSS)) for index in self._unplanned]
        return [
            alarm
            for alarm in found
            if alarm is not None
            and alarm.record.raised
            and alarm.track_index not in self._book.out_of_service
            and alarm.part_of in (None, UNHEARD)
            and (alarm.part_of == UNHEARD or quiet(int(alarm.key[0]), alarm.record.since_s))
        ]

    def _gather(self, members: list[TrackAlarm], now_s: float) -> list[AlarmEvent]:
        events = []
        for alarm in members:
            if alarm.part_of is None:
                alarm.part_of = UNHEARD
                self._book.mark_part(alarm)
                events += self._book.settle(alarm, now_s)
        return events

    def _let_go(self, members: list[TrackAlarm], now_s: float) -> list[AlarmEvent]:
        events = []
        for alarm in self._book.track_alarms:
            if alarm.part_of == UNHEARD and alarm not in members:
                alarm.part_of = None
                events += self._book.settle(alarm, now_s)
        return events


def _evaluation(members: list[TrackAlarm], now_s: float) -> Evaluation:
    """Active while there is such an input."""
    if not members:
        return Evaluation(State.CLEAR)
    records = [alarm.record for alarm in members]
    fault = ActiveFault(
        fault=NOTHING_YET.fault,
        onset_s=min(record.since_s for record in records),
        last_s=now_s,
        amber_due_s=-NEVER,
        red_due_s=NEVER,
        may_be_red=False,
    )
    return Evaluation(State.ACTIVE, (fault,))
