"""What a book of alarms must remember over a restart: states, open incidents, what the crew set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from engine.alarms.alarm import Entry
from engine.alarms.book import Book
from engine.alarms.evaluate import INPUT
from engine.alarms.machine import Core
from engine.detectors.registry import Row
from engine.model.messages import Fault, Incident
from engine.model.track_remap import Places

GONE: Final = -2
"""The place of a track that is not watched any more."""

_ID_STEP: Final = 1000
"""Numbers given after the last save are lost in a crash; the next start begins well above them."""


@dataclass(frozen=True, slots=True)
class KeptAlarm:
    """One alarm; `place` and `family` are its key, `fault` names its row."""

    place: int | str
    family: str
    fault: Fault
    core: Core
    incident: Incident | None
    seen_s: float | None
    until_s: float | None
    part_of: str | None


@dataclass(frozen=True, slots=True)
class KeptBook:
    """A whole book; `removed` are input numbers."""

    standby: bool
    removed: tuple[int, ...]
    last_id: int
    alarms: tuple[KeptAlarm, ...]


def keep(book: Book) -> KeptBook:
    """How the book stands."""
    alarms = tuple(
        KeptAlarm(
            entry.key[0],
            entry.key[1],
            entry.row.fault,
            entry.core,
            entry.incident,
            entry.seen_s,
            entry.until_s,
            entry.part_of,
        )
        for entry in book.entries
        if entry.core != Core() or entry.part_of is not None
    )
    return KeptBook(book.standby, book.removed_inputs, book.last_id, alarms)


def moved(kept: KeptBook, places: Places) -> KeptBook:
    """The same of the tracks at those places, without alarms of tracks that are gone."""
    now = places.new
    alarms = [
        alarm
        if isinstance(alarm.place, str) or alarm.place == INPUT
        else replace(alarm, place=now.get(alarm.place, GONE))
        for alarm in kept.alarms
    ]
    return replace(kept, alarms=tuple(alarm for alarm in alarms if alarm.place != GONE))


def restore(book: Book, kept: KeptBook, rows: Sequence[Row]) -> None:
    """Bring a fresh book of the same tracks to where another one stood.

    An alarm whose fault or track is not known any more is left out.
    """
    book.standby = kept.standby
    book.last_id = (kept.last_id // _ID_STEP + 1) * _ID_STEP
    places = (book.place_of(number) for number in kept.removed)
    book.removed = {place for place in places if place is not None}
    for alarm in kept.alarms:
        row = next((r for r in rows if r.fault is alarm.fault and r.group == alarm.family), None)
        known = isinstance(alarm.place, str) or alarm.place < len(book.scene.tracks)
        if row is None or not known:
            continue
        key = (alarm.place, alarm.family)
        book.entries_by_key[key] = Entry(
            key, row, alarm.core, alarm.incident, alarm.seen_s, alarm.until_s, alarm.part_of
        )
    book.refresh_cover()
