"""A book of alarms that goes on under a changed plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from engine.alarms.alarm import TrackAlarm
from engine.alarms.book import Book
from engine.alarms.book_checkpoint import GONE, keep, moved, restore
from engine.alarms.cause_rules import Cause, causes
from engine.model.faults import FaultRule
from engine.model.messages import Alarm, AlarmEvent, AlarmState, EventKind
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene


def carried(
    book: Book, scene: Scene, rules: Sequence[FaultRule], places: TrackRemap, now_s: float
) -> tuple[Book, list[AlarmEvent]]:
    """The same alarms under the new scene, and what that changed.

    Incidents keep their number and their onset. One whose track is not watched any more, or whose
    fault is not looked for on it, ends; so does a cause (a receiver) that speaks for other tracks
    now, and its tracks speak for themselves.
    """
    fresh = Book(scene, rules)
    now = places.new
    restore(fresh, moved(keep(book), places), rules)
    fresh.last_id, fresh.history, fresh.on_break = book.last_id, book.history, book.on_break
    names = {cause.name for cause in set(causes(scene.tracks)) & set(_causes(book, now))}
    events: list[AlarmEvent] = []
    for entry in book.entries:
        if entry.place is not None and entry.place not in now:
            events += _ended(fresh, entry, now_s)
    for key, entry in list(fresh.entries_by_key.items()):
        gone = entry.is_cause and entry.key[0] not in names
        if entry.place is not None:
            gone = not scene.watched(entry.rule.fault)[entry.place]
        if gone:
            del fresh.entries_by_key[key]
            events += _ended(fresh, entry, now_s)
        elif entry.part_of is not None and entry.part_of not in names:
            entry.part_of = None
            fresh.mark_part(entry)
            events += fresh.settle(entry, now_s)
    fresh.refresh_cover()
    return fresh, events


def _causes(book: Book, now: Mapping[int, int]) -> Iterator[Cause]:
    """The causes that the book knew, by where their tracks are now."""
    for cause in causes(book.scene.tracks):
        yield Cause(cause.name, tuple(now.get(place, GONE) for place in cause.places))


def _ended(book: Book, entry: TrackAlarm, now_s: float) -> list[AlarmEvent]:
    incident = entry.incident
    if incident is None or not entry.core.raised:
        return []
    incident = replace(incident, end_s=now_s)
    book.history.append(incident)
    return [AlarmEvent(EventKind.CLEARED, now_s, Alarm(incident, AlarmState.NORMAL))]
