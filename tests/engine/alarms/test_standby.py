"""Alarms while nothing rolls, and in a break."""

from __future__ import annotations

import pytest

from engine.alarms import operator
from engine.alarms.book import Book
from engine.alarms.book_checkpoint import restore, save
from engine.alarms.common_cause import CauseAlarms
from engine.model.fault_remedies import FAULTS
from engine.model.messages import AlarmState as S
from engine.model.messages import EventKind, Fault, Severity
from tests.support.alarm_desk import Desk, chimes, kinds, stand


@pytest.mark.parametrize(
    ("fault", "track", "heard"),
    [
        (Fault.MUTED, 1, True),
        (Fault.INPUT_LOST, None, True),
        (Fault.SAMPLES_LOST, None, True),
        (Fault.SAMPLES_LOST, 1, True),
        (Fault.SILENT, 4, False),
        (Fault.CLIPPED, 1, False),
    ],
)
def test_standby_suppresses_all_but_three(
    desk: Desk, fault: Fault, track: int | None, heard: bool
) -> None:
    """While not rolling only muted, input_lost and samples_lost are heard; all is logged."""
    operator.set_standby(desk.book, True, 0.0)
    desk.fail(fault, *([] if track is None else [track]), may_be_red=False)
    events = desk.run(4.0)
    assert EventKind.RAISED in kinds(events)
    assert bool(chimes(events)) is heard
    assert desk.alarm(fault, track).state is (S.UNACKNOWLEDGED if heard else S.SUPPRESSED)


def test_rolling_again_brings_back_what_stands(desk: Desk) -> None:
    """At rolling, an alarm that stands is unacknowledged, though it was seen before standby."""
    alarm = stand(desk, Fault.CLIPPED)
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    operator.set_standby(desk.book, True, desk.now_s)
    assert desk.alarm(Fault.CLIPPED, 1).state is S.SUPPRESSED
    (event,) = operator.set_standby(desk.book, False, desk.now_s)
    assert (event.kind, event.audible) == (EventKind.UNSUPPRESSED, True)
    back = desk.alarm(Fault.CLIPPED, 1)
    assert (back.state, back.seen_s) == (S.UNACKNOWLEDGED, None)


def test_what_ended_in_standby_does_not_come_back(desk: Desk) -> None:
    """A suppressed alarm whose condition ended is gone from the list, at rolling too."""
    stand(desk, Fault.CLIPPED)
    operator.set_standby(desk.book, True, desk.now_s)
    desk.mend(Fault.CLIPPED, 1)
    desk.run(5.0)
    assert desk.book.alarms() == ()
    assert chimes(operator.set_standby(desk.book, False, desk.now_s)) == []
    assert desk.book.alarms() == ()


def test_a_red_that_ended_in_standby_before_anyone_saw_it_stays_listed(desk: Desk) -> None:
    """It is listed as back until somebody calls it seen; one that had been seen is not."""
    desk.fail(Fault.DEAD_MIC, 4)
    desk.run(12.0)
    alarm = desk.alarm(Fault.DEAD_MIC, 4)
    assert (alarm.incident.severity, alarm.state) == (Severity.RED, S.UNACKNOWLEDGED)
    operator.set_standby(desk.book, True, desk.now_s)
    saved, desk.book = save(desk.book), Book(desk.scene, FAULTS)
    restore(desk.book, saved, FAULTS)  # a restart meanwhile changes nothing
    desk.cause_alarms = CauseAlarms(desk.book)
    desk.mend(Fault.DEAD_MIC, 4)
    desk.run(5.0)
    assert desk.alarm(Fault.DEAD_MIC, 4).state is S.RETURNED
    assert chimes(operator.set_standby(desk.book, False, desk.now_s)) == []
    assert desk.alarm(Fault.DEAD_MIC, 4).state is S.RETURNED
    operator.acknowledge(desk.book, None, desk.now_s)
    assert desk.book.alarms() == ()


def test_a_red_that_was_seen_before_standby_is_over_with_its_end(desk: Desk) -> None:
    """Seen is seen: when it ends in standby nothing stays."""
    desk.fail(Fault.DEAD_MIC, 4)
    desk.run(12.0)
    operator.acknowledge(desk.book, None, desk.now_s)
    operator.set_standby(desk.book, True, desk.now_s)
    desk.mend(Fault.DEAD_MIC, 4)
    desk.run(5.0)
    assert desk.book.alarms() == ()


def test_a_suppressed_silence_that_turns_out_muted_is_heard(desk: Desk) -> None:
    """In standby a silent track is suppressed, but not once it proves muted."""
    operator.set_standby(desk.book, True, 0.0)
    desk.fail(Fault.SILENT, 4)
    desk.run(4.0)
    assert desk.alarm(Fault.SILENT, 4).state is S.SUPPRESSED
    desk.fail(Fault.MUTED, 4)
    events = desk.run(0.2)
    assert chimes(events)
    assert desk.alarm(Fault.MUTED, 4).state is S.UNACKNOWLEDGED


@pytest.mark.parametrize(("track", "rests"), [(1, True), (3, True), (4, False), (5, True)])
def test_in_a_break_packs_and_booms_rest(desk: Desk, track: int, rests: bool) -> None:
    """The place is listened to in a break as well."""
    desk.book.on_break = True
    desk.fail(Fault.MUTED, track)
    desk.run(3.0)
    assert (desk.alarm(Fault.MUTED, track).state is S.SUPPRESSED) is rests
