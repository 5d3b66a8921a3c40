"""Gathers faults that began together under one alarm, and lets them go again.

While every track of a cause is in fault, the cause's alarm speaks; theirs are suppressed but keep
their incidents. Once one track is back, whatever still stands speaks for itself again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from engine.alarms.alarm import Key, TrackAlarm
from engine.alarms.book import Book
from engine.alarms.cause_rules import TOGETHER_S, WHOLE_INPUT, Cause, begun_together, causes
from engine.alarms.machine import ActiveFault, Evaluation
from engine.model.faults import LOSS
from engine.model.limits import NEVER
from engine.model.messages import AlarmEvent, Fault, State

GATHERED: Final = (LOSS, Fault.DROPOUT.value, Fault.NOISE_BURST.value)
"""Families that a receiver can bring upon all of its tracks."""

OFF_DELAY_S: Final = TOGETHER_S + 1.0
"""Tracks that come back within `TOGETHER_S` come back together; 1 s is their own off-delay."""


class Gatherer:
    """Steps the alarms of causes, after those of the tracks."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._causes = causes(book.scene.tracks)

    def step(self, told: list[AlarmEvent], start_s: float, now_s: float) -> list[AlarmEvent]:
        """Take in one tick and what the tracks told in it; returns that and what is added.

        A track whose cause speaks in the same tick does not chime.
        """
        events = list(told)
        for group in GATHERED:
            failed = {
                entry.place: entry
                for entry in self._book.entries
                if entry.key[1] == group and entry.place is not None and entry.core.raised
            }
            for cause in self._causes:
                if len(failed) > 1 or self._speaks(cause.name, group):
                    events += self._one(cause, group, failed, start_s, now_s)
        parts = {e.incident.id for e in self._book.entries if e.part_of and e.incident}
        return [
            replace(event, audible=event.audible and event.alarm.incident.id not in parts)
            for event in events
        ]

    def _speaks(self, name: str, group: str) -> bool:
        """The alarm of that cause is raised."""
        entry = self._book.entry((name, group))
        return entry is not None and entry.core.raised

    def _one(
        self, cause: Cause, group: str, failed: dict[int, TrackAlarm], start_s: float, now_s: float
    ) -> list[AlarmEvent]:
        key: Key = (cause.name, group)
        spoke = self._speaks(cause.name, group)
        places = [p for p in cause.places if p not in self._book.removed]
        children = [failed[p] for p in places if p in failed]
        all_failed = len(places) > 1 and len(children) == len(places)
        if not spoke and not (all_failed and self._may_begin(cause, group, children)):
            return []
        entry = self._book.entry(key)
        reading = Evaluation(State.CLEAR, off_s=OFF_DELAY_S)
        if all_failed:
            reading = Evaluation(State.ACTIVE, (_common(children, now_s),), OFF_DELAY_S)
        rules = [child.rule for child in children] or ([entry.rule] if entry is not None else [])
        text = _detail(cause, len(places))
        tracks = tuple(self._book.scene.tracks[p].input for p in cause.places)
        events = self._book.advance(
            key, rules, reading, lambda rule, at: text, start_s, now_s, tracks
        )
        if self._speaks(cause.name, group):
            return events + self._take_over(cause, group, children, now_s)
        return events + self._let_go(cause, group, now_s)

    def _may_begin(self, cause: Cause, group: str, children: list[TrackAlarm]) -> bool:
        wider = cause.name != WHOLE_INPUT and self._speaks(WHOLE_INPUT, group)
        return not wider and begun_together([(e.core.since_s, e.core.until_s) for e in children])

    def _take_over(
        self, cause: Cause, group: str, children: list[TrackAlarm], now_s: float
    ) -> list[AlarmEvent]:
        narrower = [
            entry
            for entry in self._book.entries
            if cause.name == WHOLE_INPUT
            and entry.is_cause
            and entry.key[0] != cause.name
            and entry.key[1] == group
            and entry.core.raised
        ]
        events = []
        for entry in (*children, *narrower):
            if entry.part_of is None:
                entry.part_of = cause.name
                self._book.mark_part(entry)
                events += self._book.settle(entry, now_s)
        return events

    def _let_go(self, cause: Cause, group: str, now_s: float) -> list[AlarmEvent]:
        events = []
        for entry in self._book.entries:
            if entry.key[1] == group and entry.part_of == cause.name:
                entry.part_of = None
                events += self._book.settle(entry, now_s)
        return events


def _common(children: list[TrackAlarm], now_s: float) -> ActiveFault:
    """The one fault that several tracks share; it lasts until the first of them is back."""
    best = max(children, key=lambda entry: entry.rule.rank)
    red = any(entry.core.red_s is not None for entry in children)
    return ActiveFault(
        fault=best.rule.fault,
        onset_s=min(entry.core.since_s for entry in children),
        last_s=min(now_s, *(e.core.until_s for e in children)),
        amber_due_s=-NEVER,
        red_due_s=-NEVER if red else NEVER,
        may_be_red=red,
        rank=best.rule.rank,
    )


def _detail(cause: Cause, tracks: int) -> str:
    if cause.name == WHOLE_INPUT:
        return f"all {tracks} tracks at once: interface, its cable, clock"
    return f"receiver {cause.name}: all its {tracks} tracks at once: its power, antennas, output"
