"""What the crew does to the alarms of a book: seen, shelved, out of service, standby."""

from __future__ import annotations

from engine.alarms import machine
from engine.alarms.alarm import TrackAlarm
from engine.alarms.book import Book
from engine.alarms.states import Event
from engine.model.messages import AlarmEvent, AlarmState, EventKind


def acknowledge(book: Book, incident_id: int | None, now_s: float) -> list[AlarmEvent]:
    """Mark one alarm as seen, or (None) all that are not hidden."""
    events = []
    for entry in _of(book, incident_id):
        if machine.acknowledge(entry.core) != entry.core:
            entry.core, entry.seen_s = machine.acknowledge(entry.core), now_s
            events.append(AlarmEvent(EventKind.SEEN, now_s, entry.alarm))
    return events


def unacknowledge(book: Book, incident_id: int, now_s: float) -> list[AlarmEvent]:
    """Make one alarm unseen again, where it still stands."""
    events = []
    for entry in _of(book, incident_id):
        if entry.core.state is AlarmState.ACKNOWLEDGED:
            entry.core, entry.seen_s = machine.hide(entry.core, Event.UNACKNOWLEDGE), None
            events.append(AlarmEvent(EventKind.UNSEEN, now_s, entry.alarm))
    return events


def shelve(book: Book, incident_id: int, seconds: float | None, now_s: float) -> list[AlarmEvent]:
    """Hide one alarm for so long, or (None) until it is put back."""
    events = []
    for entry in _of(book, incident_id):
        entry.core = machine.hide(entry.core, Event.SHELVE)
        if entry.core.state is AlarmState.SHELVED:
            entry.until_s = None if seconds is None else now_s + seconds
            events.append(AlarmEvent(EventKind.SHELVED, now_s, entry.alarm))
    return events


def unshelve(book: Book, incident_id: int, now_s: float) -> list[AlarmEvent]:
    """Put a shelved alarm back."""
    events = []
    for entry in _of(book, incident_id):
        if entry.core.state is AlarmState.SHELVED:
            events += entry.release(EventKind.UNSHELVED, book.hidden_by(entry), now_s)
    return events


def out_of_service(book: Book, track: int, removed: bool, now_s: float) -> list[AlarmEvent]:
    """Take a whole track (input number) out of service, or put it back."""
    place = book.place_of(track)
    if place is None or (place in book.removed) == removed:
        return []
    (book.removed.add if removed else book.removed.discard)(place)
    events = []
    for entry in book.entries:
        if entry.place != place:
            continue
        if removed and entry.standing:
            events += entry.hide(Event.REMOVE, now_s)
        elif entry.core.state is AlarmState.OUT_OF_SERVICE:
            events += entry.release(EventKind.IN_SERVICE, book.hidden_by(entry), now_s)
    book.refresh_cover()
    return events


def set_standby(book: Book, standby: bool, now_s: float) -> list[AlarmEvent]:
    """Not rolling: suppress by design all but the alarms that matter between takes, too."""
    book.standby = standby
    events = []
    for entry in book.entries:
        events += book.settle(entry, now_s)
    return events


def set_break(book: Book, on: bool, now_s: float) -> list[AlarmEvent]:
    """A break: suppress by design every alarm but those of the ambience and the whole input."""
    book.on_break = on
    events = []
    for entry in book.entries:
        events += book.settle(entry, now_s)
    return events


def end_shelving(book: Book, now_s: float) -> list[AlarmEvent]:
    """Put back what was shelved until now."""
    events = []
    for entry in book.entries:
        shelved = entry.core.state is AlarmState.SHELVED
        if shelved and entry.until_s is not None and now_s >= entry.until_s:
            events += entry.release(EventKind.UNSHELVED, book.hidden_by(entry), now_s)
    return events


def _of(book: Book, incident_id: int | None) -> list[TrackAlarm]:
    return [
        entry
        for entry in book.entries
        if entry.incident is not None and incident_id in (None, entry.incident.id)
    ]
