"""A book of alarms that goes on under a changed plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from engine.alarms.alarm import UNHEARD, TrackAlarm
from engine.alarms.book import Book
from engine.alarms.book_checkpoint import GONE, moved, restore, save
from engine.alarms.cause_rules import Cause, causes
from engine.alarms.empty_inputs import EmptyInputs
from engine.model.fault_rules import FaultRule
from engine.model.messages import Alarm, AlarmEvent, AlarmState, EventKind
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene


def carry_over(
    book: Book, scene: Scene, rules: Sequence[FaultRule], remap: TrackRemap, now_s: float
) -> tuple[Book, list[AlarmEvent]]:
    """The same alarms under the new scene, and what that changed.

    Incidents keep their number and their onset. One whose track is not watched any more, or whose
    fault is not looked for on it, ends; so does a cause (a receiver) that speaks for other tracks
    now, and its tracks speak for themselves.
    """
    fresh = Book(scene, rules)
    now = remap.new
    restore(fresh, moved(save(book), remap), rules)
    fresh.empty_inputs = EmptyInputs(scene)
    fresh.empty_inputs.go_on_from(book.empty_inputs, now)
    fresh.last_id, fresh.history, fresh.on_break = book.last_id, book.history, book.on_break
    names = {cause.name for cause in set(causes(scene.tracks)) & set(_causes(book, now))} | {
        UNHEARD
    }
    events: list[AlarmEvent] = []
    for alarm in book.track_alarms:
        if alarm.track_index is not None and alarm.track_index not in now:
            events += _ended(fresh, alarm, now_s)
    for key, alarm in list(fresh.alarms_by_key.items()):
        gone = alarm.is_cause and alarm.key[0] not in names
        if alarm.track_index is not None:
            gone = not scene.watched(alarm.rule.fault)[alarm.track_index]
        if gone:
            del fresh.alarms_by_key[key]
            events += _ended(fresh, alarm, now_s)
        elif alarm.part_of is not None and alarm.part_of not in names:
            alarm.part_of = None
            fresh.mark_part(alarm)
            events += fresh.settle(alarm, now_s)
    fresh.refresh_cover()
    return fresh, events


def _causes(book: Book, now: Mapping[int, int]) -> Iterator[Cause]:
    """The causes that the book knew, by where their tracks are now."""
    for cause in causes(book.scene.tracks):
        indices = tuple(now.get(index, GONE) for index in cause.track_indices)
        yield replace(cause, track_indices=indices)


def _ended(book: Book, alarm: TrackAlarm, now_s: float) -> list[AlarmEvent]:
    incident = alarm.incident
    if incident is None or not alarm.record.raised:
        return []
    incident = replace(incident, end_s=now_s)
    book.history.append(incident)
    return [AlarmEvent(EventKind.CLEARED, now_s, Alarm(incident, AlarmState.NORMAL))]
