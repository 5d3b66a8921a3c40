"""What a book of alarms must remember over a restart: states, open incidents, what the crew set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from engine.alarms.alarm import TrackAlarm
from engine.alarms.book import Book
from engine.alarms.evaluate import INPUT
from engine.alarms.machine import AlarmRecord
from engine.model.faults import FaultRule
from engine.model.messages import Fault, Incident
from engine.model.track_remap import TrackRemap

GONE: Final = -2
"""The place of a track that is not watched any more."""

_ID_STEP: Final = 1000
"""Numbers given after the last save are lost in a crash; the next start begins well above them."""


@dataclass(frozen=True, slots=True)
class AlarmCheckpoint:
    """One alarm; `place` and `family` are its key, `fault` names its rule."""

    place: int | str
    family: str
    fault: Fault
    core: AlarmRecord
    incident: Incident | None
    seen_s: float | None
    until_s: float | None
    part_of: str | None


@dataclass(frozen=True, slots=True)
class BookCheckpoint:
    """A whole book; `removed` are input numbers."""

    standby: bool
    removed: tuple[int, ...]
    last_id: int
    alarms: tuple[AlarmCheckpoint, ...]


def keep(book: Book) -> BookCheckpoint:
    """How the book stands."""
    alarms = tuple(
        AlarmCheckpoint(
            entry.key[0],
            entry.key[1],
            entry.rule.fault,
            entry.core,
            entry.incident,
            entry.seen_s,
            entry.until_s,
            entry.part_of,
        )
        for entry in book.entries
        if entry.core != AlarmRecord() or entry.part_of is not None
    )
    return BookCheckpoint(book.standby, book.removed_inputs, book.last_id, alarms)


def moved(kept: BookCheckpoint, places: TrackRemap) -> BookCheckpoint:
    """The same of the tracks at those places, without alarms of tracks that are gone."""
    now = places.new
    alarms = [
        alarm
        if isinstance(alarm.place, str) or alarm.place == INPUT
        else replace(alarm, place=now.get(alarm.place, GONE))
        for alarm in kept.alarms
    ]
    return replace(kept, alarms=tuple(alarm for alarm in alarms if alarm.place != GONE))


def restore(book: Book, kept: BookCheckpoint, rules: Sequence[FaultRule]) -> None:
    """Bring a fresh book of the same tracks to where another one stood.

    An alarm whose fault or track is not known any more is left out.
    """
    book.standby = kept.standby
    book.last_id = (kept.last_id // _ID_STEP + 1) * _ID_STEP
    places = (book.place_of(number) for number in kept.removed)
    book.removed = {place for place in places if place is not None}
    for alarm in kept.alarms:
        rule = next((r for r in rules if r.fault is alarm.fault and r.group == alarm.family), None)
        known = isinstance(alarm.place, str) or alarm.place < len(book.scene.tracks)
        if rule is None or not known:
            continue
        key = (alarm.place, alarm.family)
        book.entries_by_key[key] = TrackAlarm(
            key, rule, alarm.core, alarm.incident, alarm.seen_s, alarm.until_s, alarm.part_of
        )
    book.refresh_cover()
