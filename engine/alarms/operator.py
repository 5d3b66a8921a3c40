"""What the crew does to the alarms: acknowledge, shelve, take out of service, standby, break."""

from __future__ import annotations

from engine.alarms import machine
from engine.alarms.alarm import TrackAlarm
from engine.alarms.book import Book
from engine.alarms.states import Event, allows
from engine.model.messages import AlarmEvent, AlarmState, EventKind


def acknowledge(book: Book, incident_id: int | None, now_s: float) -> list[AlarmEvent]:
    """Mark one alarm as seen, or (None) all that are not hidden."""
    events = []
    for alarm in _alarms_of(book, incident_id):
        if allows(alarm.record.state, Event.ACKNOWLEDGE):
            alarm.record, alarm.seen_s = machine.apply(alarm.record, Event.ACKNOWLEDGE), now_s
            events.append(AlarmEvent(EventKind.SEEN, now_s, alarm.shown))
    return events


def unacknowledge(book: Book, incident_id: int, now_s: float) -> list[AlarmEvent]:
    """Make one alarm unseen again: it stands, or has returned to normal meanwhile."""
    events = []
    for alarm in _alarms_of(book, incident_id):
        if allows(alarm.record.state, Event.UNACKNOWLEDGE):
            alarm.record, alarm.seen_s = machine.apply(alarm.record, Event.UNACKNOWLEDGE), None
            events.append(AlarmEvent(EventKind.UNSEEN, now_s, alarm.shown))
    return events


def shelve(book: Book, incident_id: int, seconds: float | None, now_s: float) -> list[AlarmEvent]:
    """Hide one alarm for so long, or (None) until it is put back."""
    events = []
    for alarm in _alarms_of(book, incident_id):
        alarm.record = machine.apply(alarm.record, Event.SHELVE)
        if alarm.record.state is AlarmState.SHELVED:
            alarm.until_s = None if seconds is None else now_s + seconds
            events.append(AlarmEvent(EventKind.SHELVED, now_s, alarm.shown))
    return events


def unshelve(book: Book, incident_id: int, now_s: float) -> list[AlarmEvent]:
    """Put a shelved alarm back."""
    events = []
    for alarm in _alarms_of(book, incident_id):
        if alarm.record.state is AlarmState.SHELVED:
            events += alarm.release(EventKind.UNSHELVED, book.hidden_by(alarm), now_s)
    return events


def out_of_service(book: Book, track: int, out: bool, now_s: float) -> list[AlarmEvent]:
    """Take a whole track (input number) out of service, or put it back."""
    track_index = book.track_index_of(track)
    if track_index is None or (track_index in book.out_of_service) == out:
        return []
    (book.out_of_service.add if out else book.out_of_service.discard)(track_index)
    events = []
    for alarm in book.track_alarms:
        if alarm.track_index != track_index:
            continue
        if out and alarm.standing:
            events += alarm.hide(Event.REMOVE, now_s)
        elif alarm.record.state is AlarmState.OUT_OF_SERVICE:
            events += alarm.release(EventKind.IN_SERVICE, book.hidden_by(alarm), now_s)
    book.refresh_cover()
    return events


def set_standby(book: Book, standby: bool, now_s: float) -> list[AlarmEvent]:
    """Not rolling: suppress by design all but the alarms that matter between takes, too."""
    book.standby = standby
    events = []
    for alarm in book.track_alarms:
        events += book.settle(alarm, now_s)
    return events


def set_break(book: Book, on: bool, now_s: float) -> list[AlarmEvent]:
    """A break: suppress by design every alarm but those of the ambience and the whole input."""
    book.on_break = on
    events = []
    for alarm in book.track_alarms:
        events += book.settle(alarm, now_s)
    return events


def end_shelving(book: Book, now_s: float) -> list[AlarmEvent]:
    """Put back what was shelved until now."""
    events = []
    for alarm in book.track_alarms:
        shelved = alarm.record.state is AlarmState.SHELVED
        if shelved and alarm.until_s is not None and now_s >= alarm.until_s:
            events += alarm.release(EventKind.UNSHELVED, book.hidden_by(alarm), now_s)
    return events


def _alarms_of(book: Book, incident_id: int | None) -> list[TrackAlarm]:
    return [
        alarm
        for alarm in book.track_alarms
        if alarm.incident is not None and incident_id in (None, alarm.incident.id)
    ]
