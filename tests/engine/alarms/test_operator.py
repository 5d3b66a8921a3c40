"""What the crew does to alarms beyond seen and shelved: taking 'seen' back, breaks."""

from __future__ import annotations

import pytest

from engine.alarms import operator
from engine.model.messages import AlarmState, EventKind, Fault, Kind, PackLevel
from engine.model.tracks import Track
from tests.support.alarm_desk import Desk

S = AlarmState


@pytest.fixture
def desk() -> Desk:
    """A pair of packs, a boom, the place, and a track that is not used."""
    return Desk(
        Track(1, who="foreman", level=PackLevel.MAIN, receiver="A"),
        Track(2, who="foreman", level=PackLevel.SAFETY, receiver="A"),
        Track(3, kind=Kind.BOOM),
        Track(4, kind=Kind.AMBIENCE),
    )


def test_seen_can_be_taken_back(desk: Desk) -> None:
    """An alarm called seen by mistake is unseen again, without its time of being seen."""
    desk.fail(Fault.MUTED, 3)
    desk.run(3.0)
    number = desk.alarm(Fault.MUTED, 3).incident.id
    operator.acknowledge(desk.book, number, desk.now_s)
    (event,) = operator.unacknowledge(desk.book, number, desk.now_s)
    assert event.kind is EventKind.UNSEEN
    alarm = desk.alarm(Fault.MUTED, 3)
    assert (alarm.state, alarm.seen_s) == (S.UNACKNOWLEDGED, None)


def test_seen_can_be_taken_back_of_what_is_over(desk: Desk) -> None:
    """What had returned to normal, or did so after it was seen, is listed again."""
    desk.fail(Fault.MUTED, 3)
    desk.run(3.0)
    number = desk.alarm(Fault.MUTED, 3).incident.id
    desk.mend(Fault.MUTED, 3)
    desk.run(3.0)
    assert desk.alarm(Fault.MUTED, 3).state is S.RETURNED
    operator.acknowledge(desk.book, number, desk.now_s)
    assert desk.book.alarms() == ()
    (event,) = operator.unacknowledge(desk.book, number, desk.now_s)
    assert event.kind is EventKind.UNSEEN
    alarm = desk.alarm(Fault.MUTED, 3)
    assert (alarm.state, alarm.seen_s) == (S.RETURNED, None)


def test_only_what_was_seen_can_be_unseen(desk: Desk) -> None:
    """Unseen, shelved and unknown alarms stay as they are."""
    desk.fail(Fault.MUTED, 3)
    desk.run(3.0)
    number = desk.alarm(Fault.MUTED, 3).incident.id
    assert operator.unacknowledge(desk.book, number, desk.now_s) == []
    operator.shelve(desk.book, number, None, desk.now_s)
    assert operator.unacknowledge(desk.book, number, desk.now_s) == []
    assert operator.unacknowledge(desk.book, 4711, desk.now_s) == []
    assert desk.alarm(Fault.MUTED, 3).state is S.SHELVED


def test_a_break_leaves_only_the_ambience_and_the_input(desk: Desk) -> None:
    """In a break packs, booms and receivers are quiet; the place and the interface are not."""
    operator.set_break(desk.book, True, 0.0)
    desk.fail(Fault.MUTED, 1, 2, 3)
    events = desk.run(3.0)
    desk.fail(Fault.MUTED, 4)
    desk.fail(Fault.INPUT_LOST)
    heard = [event.alarm.incident for event in events + desk.run(1.0) if event.audible]
    assert {(i.fault, i.track) for i in heard} == {(Fault.MUTED, 4), (Fault.INPUT_LOST, None)}


def test_what_stands_at_the_end_of_a_break_is_heard(desk: Desk) -> None:
    """The end of a break brings back what still stands, unseen; what came and went stays away."""
    operator.set_break(desk.book, True, 0.0)
    desk.fail(Fault.MUTED, 1, 3)
    desk.run(4.0)
    desk.mend(Fault.MUTED, 1)
    desk.run(5.0)
    heard = [e for e in operator.set_break(desk.book, False, desk.now_s) if e.audible]
    assert [e.alarm.incident.track for e in heard] == [3]
    assert [a.incident.track for a in desk.book.alarms()] == [3]


def test_a_break_ends_no_shelving(desk: Desk) -> None:
    """What the crew had shelved by itself stays shelved through a break."""
    desk.fail(Fault.MUTED, 3)
    desk.run(3.0)
    operator.shelve(desk.book, desk.alarm(Fault.MUTED, 3).incident.id, None, desk.now_s)
    operator.set_break(desk.book, True, desk.now_s)
    assert desk.alarm(Fault.MUTED, 3).state is S.SHELVED
    operator.set_break(desk.book, False, desk.now_s)
    assert desk.alarm(Fault.MUTED, 3).state is S.SHELVED


def test_a_lost_input_is_heard_in_a_break_without_any_ambience() -> None:
    """The interface matters in a break whatever is plugged in: nothing is recorded without it."""
    desk = Desk(Track(1, who="foreman"), Track(2, kind=Kind.BOOM))
    operator.set_break(desk.book, True, 0.0)
    desk.fail(Fault.INPUT_LOST)
    heard = [event.alarm.incident.fault for event in desk.run(3.0) if event.audible]
    assert set(heard) == {Fault.INPUT_LOST}
