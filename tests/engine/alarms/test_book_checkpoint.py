"""A book of alarms over a restart."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.alarms import operator
from engine.alarms.book import Book
from engine.alarms.book_checkpoint import BookCheckpoint, RecordCheckpoint, restore, save
from engine.alarms.machine import AlarmRecord
from engine.alarms.states import Phase
from engine.model import dataclass_json
from engine.model.fault_remedies import FAULTS
from engine.model.messages import AlarmState, Fault
from engine.model.tracks import Scene, Track
from tests.support.alarm_desk import Desk

TRACKS = tuple(Track(n, who="Foreman", receiver="A") for n in range(1, 5))


def over_a_restart(book: Book) -> Book:
    """A fresh book that was told what the other knew, by way of text."""
    text = dataclass_json.dumps(save(book))
    fresh = Book(book.scene, FAULTS)
    restore(fresh, dataclass_json.loads(BookCheckpoint, text), FAULTS)
    return fresh


def troubled() -> Desk:
    """One alarm seen, one shelved, one track out of service."""
    desk = Desk(*TRACKS)
    desk.fail(Fault.MUTED, 1)
    desk.run(4.0)
    desk.fail(Fault.CLIPPED, 2)
    desk.run(4.0)
    first, second = (a.incident.id for a in sorted(desk.book.alarms(), key=lambda a: a.incident.id))
    operator.acknowledge(desk.book, first, desk.now_s)
    operator.shelve(desk.book, second, 60.0, desk.now_s)
    operator.out_of_service(desk.book, 4, True, desk.now_s)
    return desk


def test_alarms_are_as_they_were() -> None:
    """State, when seen, the shelving's end, cover and times are the same after a restart."""
    book = troubled().book
    again = over_a_restart(book)
    assert again.alarms() == book.alarms()
    assert {a.state for a in again.alarms()} == {AlarmState.ACKNOWLEDGED, AlarmState.SHELVED}
    assert again.covers() == book.covers()
    assert again.inputs_out_of_service == (4,)
    assert again.standby is book.standby


def test_the_next_incident_has_a_number_of_its_own() -> None:
    """Numbers go on above any that a killed engine may have given meanwhile."""
    book = troubled().book
    again = over_a_restart(book)
    assert again.last_id >= book.last_id + 100


def test_an_alarm_of_a_fault_that_is_gone_is_left_out() -> None:
    """A log from a program that knew other faults is no reason not to watch."""
    book = troubled().book
    fresh = Book(book.scene, FAULTS)
    rows = [row for row in FAULTS if row.fault is not Fault.CLIPPED]
    restore(fresh, save(book), rows)
    assert {a.incident.fault for a in fresh.alarms()} == {Fault.MUTED}


def test_an_alarm_to_which_nothing_happened_is_an_empty_checkpoint() -> None:
    """What a log leaves out reads as an alarm that is normal and clear."""
    assert replace(RecordCheckpoint.of(AlarmRecord()), named_since_s=None) == RecordCheckpoint()
    assert RecordCheckpoint().record() == AlarmRecord()


OLD_LOG = (
    '{"standby":false,"removed":[],"last_id":3,"alarms":[{"place":0,"family":"loss",'
    '"fault":"muted","core":{"state":"acknowledged","fault":"muted","since_s":1.0,"until_s":4.0,'
    '"rank":3,"named_until_s":4.0,"clearing":CLEARING,"amber_due_s":1.5,"red_due_s":3.0,'
    '"amber_s":AMBER,"red_s":null,"raises_s":[1.5]},"incident":null,"seen_s":2.0,"until_s":null,'
    '"part_of":null}]}'
)


@pytest.mark.parametrize(
    ("amber", "clearing", "phase"),
    [
        ("null", "false", Phase.PENDING),
        ("1.5", "false", Phase.ACTIVE),
        ("1.5", "true", Phase.CLEARING),
    ],
)
def test_a_log_of_an_older_program_tells_the_phase(amber: str, clearing: str, phase: Phase) -> None:
    """An older log tells the phase by what is there, and no start of the present name."""
    text = OLD_LOG.replace("CLEARING", clearing).replace("AMBER", amber)
    book = Book(Scene(TRACKS, 48_000), FAULTS)
    saved = dataclass_json.loads(BookCheckpoint, text)
    restore(book, saved, FAULTS)
    (alarm,) = book.track_alarms
    assert (alarm.track_index, alarm.record.phase) == (0, phase)
    assert alarm.record.named_since_s == alarm.record.since_s == 1.0
    assert save(book).alarms[0].core.record() == alarm.record
