"""One alarm's own steps: what hides it and what brings it back, by the states of ISA-18.2."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.alarms.alarm import TrackAlarm
from engine.alarms.states import Event
from engine.model.messages import AlarmState, EventKind, Fault
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene, Track
from tests.support.alarm_desk import Desk


def after(seconds: float) -> TrackAlarm:
    """The alarm of a track that has been muted for so long."""
    desk = Desk(Track(1, who="foreman"))
    desk.fail(Fault.MUTED, 1)
    desk.run(seconds)
    return next(alarm for alarm in desk.book.track_alarms if alarm.key[1] == "loss")


@pytest.mark.parametrize("event", [Event.SUPPRESS, Event.SHELVE, Event.REMOVE])
def test_what_is_hidden_already_is_hidden_without_a_word(event: Event) -> None:
    """Hiding an alarm is told once, though the rule that hides it is asked every tick."""
    alarm = after(5.0)
    assert len(alarm.hide(event, 5.0)) == 1
    assert not alarm.hide(event, 5.1)


def test_one_that_was_never_raised_is_hidden_without_a_word() -> None:
    """Before its on-delay is over an alarm has no incident that a log could name."""
    alarm = after(0.2)
    assert not alarm.hide(Event.SUPPRESS, 0.2)
    assert not alarm.release(EventKind.UNSUPPRESSED, None, 0.3)


def test_only_a_red_that_nobody_saw_is_unseen_when_suppressed() -> None:
    """Amber, seen or shelved: nobody has to be told of it afterwards."""
    amber, red, seen, shelved = after(1.0), after(5.0), after(5.0), after(5.0)
    seen.record = replace(seen.record, state=AlarmState.ACKNOWLEDGED)
    for alarm in (amber, red, seen):
        alarm.hide(Event.SUPPRESS, 5.0)
    shelved.hide(Event.SHELVE, 5.0)
    assert [alarm.unseen for alarm in (amber, red, seen, shelved)] == [False, True, False, False]


@pytest.mark.parametrize(
    ("hidden_by", "state"),
    [
        (None, AlarmState.UNACKNOWLEDGED),
        (Event.SUPPRESS, AlarmState.SUPPRESSED),
        (Event.REMOVE, AlarmState.OUT_OF_SERVICE),
    ],
)
def test_one_that_is_unshelved_stays_hidden_by_what_else_hides_it(
    hidden_by: Event | None, state: AlarmState
) -> None:
    """Standby, or a track out of service: it sounds only where nothing does."""
    alarm = after(5.0)
    alarm.hide(Event.SHELVE, 5.0)
    (event,) = alarm.release(EventKind.UNSHELVED, hidden_by, 6.0)
    assert alarm.record.state is state
    assert event.audible is (hidden_by is None)


@pytest.mark.parametrize(("stands_s", "incidents"), [(0.2, 0), (5.0, 1)])
def test_a_track_that_leaves_the_plan_ends_only_what_stands(
    stands_s: float, incidents: int
) -> None:
    """A fault that was not raised yet has no end, and one that has returned ended before."""
    desk = Desk(Track(1, who="foreman"), Track(2, who="rigger"))
    desk.fail(Fault.MUTED, 1)
    desk.run(stands_s)
    if incidents:
        desk.mend(Fault.MUTED, 1)
        desk.run(5.0)
    remap = TrackRemap.of((1, 2), (2,))
    assert desk.change(Scene(desk.scene.tracks[1:], 48_000), remap) == []
    assert len(desk.book.incidents()) == incidents
