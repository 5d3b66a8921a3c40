"""What the crew does to an alarm: seen, shelved, out of service."""

from __future__ import annotations

import pytest

from engine.alarms import operator
from engine.model.messages import AlarmState as S
from engine.model.messages import EventKind, Fault, Severity
from tests.support.alarm_desk import Desk, chimes, kinds, stand


def test_seen_amber_is_unseen_again_as_red(desk: Desk) -> None:
    """An acknowledged amber that goes red has to be seen again, and is heard again."""
    alarm = stand(desk)
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    seen = desk.alarm(Fault.MUTED, 1)
    assert (seen.state, seen.seen_s) == (S.ACKNOWLEDGED, pytest.approx(0.6))
    events = desk.run(3.0)
    assert kinds(chimes(events)) == [EventKind.ESCALATED]
    red = desk.alarm(Fault.MUTED, 1)
    assert (red.state, red.seen_s) == (S.UNACKNOWLEDGED, None)


def test_returned_is_kept_until_seen(desk: Desk) -> None:
    """A fault that ended unseen stays in the list until the crew has seen it."""
    alarm = stand(desk)
    desk.mend(Fault.MUTED, 1)
    desk.run(90.0)
    assert desk.alarm(Fault.MUTED, 1).state is S.RETURNED
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    assert desk.book.alarms() == ()
    assert desk.incidents(1)[0].end_s is not None


def test_acknowledging_all_leaves_hidden_alarms(desk: Desk) -> None:
    """All that is shown is acknowledged at once; what is hidden stays unseen."""
    stand(desk, track=1)
    hidden = stand(desk, track=3)
    operator.shelve(desk.book, hidden.incident.id, None, desk.now_s)
    events = operator.acknowledge(desk.book, None, desk.now_s)
    assert kinds(events) == [EventKind.SEEN]
    assert desk.alarm(Fault.MUTED, 3).state is S.SHELVED


def test_an_unknown_incident_changes_nothing(desk: Desk) -> None:
    """A command about an incident that is not there does nothing."""
    stand(desk)
    assert operator.acknowledge(desk.book, 99, 0.0) == []
    assert operator.shelve(desk.book, 99, 1.0, 0.0) == []
    assert operator.unshelve(desk.book, 1, 0.0) == []
    assert operator.out_of_service(desk.book, 99, True, 0.0) == []


@pytest.mark.parametrize(("at_s", "over"), [(5.59, False), (5.6, True), (5.7, True)])
def test_a_shelving_ends_by_itself(desk: Desk, at_s: float, over: bool) -> None:
    """A shelved alarm comes back at its end time, unacknowledged if it still stands."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, 5.0, 0.6)
    events = operator.end_shelving(desk.book, at_s)
    assert kinds(events) == ([EventKind.UNSHELVED] if over else [])
    found = desk.alarm(Fault.MUTED, 1)
    assert found.state is (S.UNACKNOWLEDGED if over else S.SHELVED)
    assert (found.until_s is None) is over


def test_shelving_again_sets_a_new_end(desk: Desk) -> None:
    """The end of a shelving can be moved, and that is logged."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, 5.0, 0.6)
    events = operator.shelve(desk.book, alarm.incident.id, 60.0, 1.0)
    assert kinds(events) == [EventKind.SHELVED]
    assert desk.alarm(Fault.MUTED, 1).until_s == 61.0


def test_shelved_says_nothing_and_is_put_back_by_hand(desk: Desk) -> None:
    """A shelved alarm goes red without a sound; put back, it is heard."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, None, desk.now_s)
    assert chimes(desk.run(5.0)) == []
    assert desk.alarm(Fault.MUTED, 1).incident.severity is Severity.RED
    (event,) = operator.unshelve(desk.book, alarm.incident.id, desk.now_s)
    assert event.audible
    assert event.alarm.state is S.UNACKNOWLEDGED


def test_out_of_service_hides_the_whole_track(desk: Desk) -> None:
    """A track out of service is logged but not heard, until it is put back."""
    operator.out_of_service(desk.book, 1, True, 0.0)
    desk.fail(Fault.MUTED, 1)
    events = desk.run(3.0)
    assert kinds(events) == [EventKind.RAISED, EventKind.ESCALATED]
    assert chimes(events) == []
    assert desk.alarm(Fault.MUTED, 1).state is S.OUT_OF_SERVICE
    (event,) = operator.out_of_service(desk.book, 1, False, desk.now_s)
    assert (event.kind, event.audible) == (EventKind.IN_SERVICE, True)


def test_a_shelved_end_does_not_outlive_the_shelving(desk: Desk) -> None:
    """A shelved track taken out of service and put back carries no end time."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, 5.0, desk.now_s)
    operator.out_of_service(desk.book, 1, True, desk.now_s)
    operator.out_of_service(desk.book, 1, False, desk.now_s)
    found = desk.alarm(Fault.MUTED, 1)
    assert (found.state, found.until_s) == (S.UNACKNOWLEDGED, None)


def test_old_alarms_do_not_reappear_out_of_service(desk: Desk) -> None:
    """Taking a track out shows only what stands on it, not what ended long ago."""
    alarm = stand(desk)
    desk.mend(Fault.MUTED, 1)
    desk.run(2.0)
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    assert operator.out_of_service(desk.book, 1, True, desk.now_s) == []
    assert desk.book.alarms() == ()
