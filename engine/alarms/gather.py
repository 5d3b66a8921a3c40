"""Gathers faults that began together under one alarm, and lets them go again.

While every track of a cause is in fault, the cause's alarm speaks; theirs are suppressed but keep
their incidents. Once one track is back, whatever still stands speaks for itself again.
"""

from __future__ import annotations

from typing import Final

from engine.alarms.book import Book
from engine.alarms.cause import WHOLE_INPUT, Cause, begun_together, causes
from engine.alarms.entry import Entry, Key
from engine.alarms.machine import Name, Reading
from engine.alarms.states import Event
from engine.detectors.registry import LOSS
from engine.model import AlarmEvent, EventKind, Fault, State
from engine.settings import NEVER

GATHERED: Final = (LOSS, Fault.DROPOUT.value, Fault.NOISE_BURST.value)
"""Families that a receiver can bring upon all of its tracks."""

OFF_DELAY_S: Final = 2.0
"""Tracks of one receiver come back one after the other; this long they count as together."""


class Gatherer:
    """Steps the alarms of causes, after those of the tracks."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._causes = causes(book.scene.tracks)

    def step(self, start_s: float, now_s: float) -> list[AlarmEvent]:
        """Take in one tick; returns what happened."""
        events: list[AlarmEvent] = []
        for group in GATHERED:
            failed = {
                entry.place: entry
                for entry in self._book.entries
                if entry.key[1] == group and entry.place is not None and entry.core.raised
            }
            for cause in self._causes:
                if len(failed) > 1 or self._going_on(cause, group):
                    events += self._one(cause, group, failed, start_s, now_s)
        return events

    def _going_on(self, cause: Cause, group: str) -> bool:
        entry = self._book.entry((cause.name, group))
        return entry is not None and entry.core.fault is not None

    def _one(
        self, cause: Cause, group: str, failed: dict[int, Entry], start_s: float, now_s: float
    ) -> list[AlarmEvent]:
        key: Key = (cause.name, group)
        going_on = self._going_on(cause, group)
        if not going_on:
            onsets_s = {place: entry.core.since_s for place, entry in failed.items()}
            wider = cause.name != WHOLE_INPUT and self._going_on_whole(group)
            if wider or not begun_together(cause, onsets_s, self._book.removed):
                return []
        places = [p for p in cause.places if p not in self._book.removed]
        children = [failed[p] for p in places if p in failed]
        reading = Reading(State.CLEAR, off_s=OFF_DELAY_S)
        if len(children) == len(places):
            reading = Reading(State.ACTIVE, (_common(children, now_s),), OFF_DELAY_S)
        worst = max(children, key=lambda entry: entry.row.rank, default=None)
        row = worst.row if worst is not None else self._book.entries_by_key[key].row
        tracks = tuple(self._book.scene.tracks[p].input for p in cause.places)
        detail = _detail(cause, len(places))
        events = self._book.advance(key, row, reading, detail, start_s, now_s, tracks)
        if not self._going_on(cause, group):
            return events + self._let_go(cause, group, now_s)
        return events + self._take_over(cause, group, children, now_s)

    def _going_on_whole(self, group: str) -> bool:
        entry = self._book.entry((WHOLE_INPUT, group))
        return entry is not None and entry.core.raised

    def _take_over(
        self, cause: Cause, group: str, children: list[Entry], now_s: float
    ) -> list[AlarmEvent]:
        narrower = [
            entry
            for entry in self._book.entries
            if cause.name == WHOLE_INPUT
            and entry.is_cause
            and entry.key == (entry.key[0], group)
            and entry.key[0] != cause.name
            and entry.core.raised
        ]
        events = []
        for entry in (*children, *narrower):
            if entry.part_of is None:
                entry.part_of = cause.name
                self._book.mark_part(entry)
                events += entry.hide(Event.SUPPRESS, now_s)
        return events

    def _let_go(self, cause: Cause, group: str, now_s: float) -> list[AlarmEvent]:
        events = []
        for entry in self._book.entries:
            if entry.key[1] == group and entry.part_of == cause.name:
                entry.part_of = None
                hidden_by = self._book.hidden_by(entry)
                events += entry.release(EventKind.UNSUPPRESSED, hidden_by, now_s)
        return events


def _common(children: list[Entry], now_s: float) -> Name:
    """The one fault that several tracks share."""
    red = any(entry.core.red_s is not None for entry in children)
    return Name(
        fault=max(children, key=lambda entry: entry.row.rank).row.fault,
        onset_s=min(entry.core.since_s for entry in children),
        last_s=now_s,
        amber_due_s=now_s,
        red_due_s=now_s if red else NEVER,
        may_be_red=red,
    )


def _detail(cause: Cause, tracks: int) -> str:
    if cause.name == WHOLE_INPUT:
        return f"all {tracks} tracks at once: interface, its cable, clock"
    return f"receiver {cause.name}: all its {tracks} tracks at once: its power, antennas, output"
