"""Inputs that nobody named and that were quiet from the start: one amber line (CONTRACT.md)."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.alarms.alarm import UNHEARD
from engine.alarms.book import Book
from engine.alarms.book_checkpoint import restore, save
from engine.alarms.common_cause import CauseAlarms
from engine.model.fault_remedies import FAULTS, check_first, word
from engine.model.messages import AlarmState, EventKind, Fault, Incident, Kind, Severity
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Plan, Scene, Track, plan_for
from engine.plan.load import parse_plan
from tests.support.alarm_desk import Desk


@pytest.fixture
def desk() -> Desk:
    """Two named packs, then six inputs of which nobody said anything."""
    named = (Track(1, "Foreman", who="Foreman"), Track(2, "Boom"))
    return Desk(*named, *(Track(n, planned=False) for n in range(3, 9)))


def line(desk: Desk) -> Incident:
    """The one incident of them all."""
    (found,) = desk.incidents(None)
    return found


def test_empty_inputs_are_one_amber_line(desk: Desk) -> None:
    """One alarm, one chime, and never red, however long nothing comes."""
    desk.fail(Fault.MUTED, 4, 5, 6, 7, 8)
    events = desk.run(60.0)
    heard = [event.alarm.incident for event in events if event.audible]
    assert [one.fault for one in heard] == [Fault.NOTHING_YET]
    raised = [e.alarm.incident for e in events if e.kind is EventKind.RAISED]
    assert [one.part_of for one in raised] == [UNHEARD] * 5 + [None]  # one line in a terminal
    assert line(desk).tracks == (4, 5, 6, 7, 8)
    assert line(desk).severity is Severity.AMBER
    assert {i.severity for i in desk.book.incidents()} == {Severity.AMBER}
    assert {desk.alarm(Fault.MUTED, n).state for n in range(4, 9)} == {AlarmState.SUPPRESSED}
    assert not desk.book.severities().any()
    assert word(line(desk).fault) == "nothing yet"
    assert "plan" in check_first(line(desk))


def test_a_named_track_is_expected_to_sound(desk: Desk) -> None:
    """What the plan names goes red by its own deadline, though it was dead from the start."""
    desk.fail(Fault.MUTED, 1, 2, 5)
    desk.run(3.0)
    assert desk.alarm(Fault.MUTED, 1).incident.severity is Severity.RED
    assert desk.alarm(Fault.MUTED, 2).incident.severity is Severity.RED
    assert line(desk).tracks == (5,)


def test_an_input_that_was_heard_alarms_as_ever(desk: Desk) -> None:
    """Once something came, a loss is a loss."""
    desk.fail(Fault.MUTED, 4, 5)
    desk.run(5.0)
    desk.mend(Fault.MUTED, 4)
    desk.run(3.0)
    assert line(desk).tracks == (5,)
    desk.fail(Fault.MUTED, 4)
    desk.run(3.0)
    assert desk.alarm(Fault.MUTED, 4).incident.severity is Severity.RED
    assert desk.alarm(Fault.MUTED, 4).state is AlarmState.UNACKNOWLEDGED


def test_the_line_ends_with_the_last_of_them(desk: Desk) -> None:
    """When all have come, the line clears."""
    desk.fail(Fault.MUTED, 4, 5)
    desk.run(5.0)
    desk.mend(Fault.MUTED, 4, 5)
    events = desk.run(4.0)
    ended = [e.alarm.incident.fault for e in events if e.kind is EventKind.CLEARED]
    assert Fault.NOTHING_YET in ended
    assert line(desk).end_s is not None


def test_lost_audio_at_the_start_counts_for_nothing(desk: Desk) -> None:
    """The first moment is where an input can be judged: an interface may lose its first blocks."""
    desk.unknown = True
    desk.run(2.0)
    desk.unknown = False
    desk.fail(Fault.MUTED, 4, 5, onset_s=2.0)
    desk.run(5.0)
    assert line(desk).tracks == (4, 5)


def test_one_that_is_silent_only_later_joins_without_a_chime(desk: Desk) -> None:
    """A hissing input is told as never heard after a minute: no second chime."""
    desk.fail(Fault.MUTED, 4)
    desk.run(60.0)
    desk.fail(Fault.SILENT, 5, onset_s=0.0)
    events = desk.run(5.0)
    assert not [event for event in events if event.audible]
    assert line(desk).tracks == (4, 5)


def test_an_empty_input_hides_no_loss_of_the_whole_input(desk: Desk) -> None:
    """The interface dies: one alarm of all that had been heard."""
    desk.fail(Fault.MUTED, 5, 6, 7, 8)
    desk.run(10.0)
    desk.fail(Fault.MUTED, 1, 2, 3, 4)
    desk.run(5.0)
    causes = [i for i in desk.incidents(None) if i.fault is Fault.MUTED]
    assert [i.severity for i in causes] == [Severity.RED]


def test_a_plan_that_names_it_makes_it_alarm(desk: Desk) -> None:
    """Naming an empty input while watching says that something belongs there."""
    desk.fail(Fault.MUTED, 4, 5)
    desk.run(5.0)
    tracks = tuple(replace(t, planned=True) if t.input == 4 else t for t in desk.scene.tracks)
    same = TrackRemap.of(range(8), range(8))
    desk.change(Scene(tracks, 48_000), same)
    events = desk.run(1.0)
    assert line(desk).tracks == (5,)
    assert desk.alarm(Fault.MUTED, 4).incident.severity is Severity.RED
    assert not [e for e in events if e.kind is EventKind.CLEARED]


def test_a_restart_goes_on_with_the_line(desk: Desk) -> None:
    """The line is in the log's checkpoint."""
    desk.fail(Fault.MUTED, 4, 5)
    desk.run(5.0)
    fresh = Book(desk.scene, FAULTS)
    restore(fresh, save(desk.book), FAULTS)
    assert [a.incident.tracks for a in fresh.alarms() if a.incident.track is None] == [(4, 5)]
    desk.book, desk.cause_alarms = fresh, CauseAlarms(fresh)
    desk.run(5.0)
    assert line(desk).tracks == (4, 5)
    assert {i.severity for i in fresh.incidents()} == {Severity.AMBER}
    desk.fail(Fault.MUTED, 6)
    desk.run(5.0)
    assert desk.alarm(Fault.MUTED, 6).incident.severity is Severity.RED


@given(st.sets(st.integers(3, 8)), st.sets(st.integers(1, 8)))
def test_no_red_of_a_heard_or_named_track_is_held_back(empty: set[int], lost: set[int]) -> None:
    """Whatever is empty from the start, each other loss becomes red."""
    desk = Desk(*(Track(n, planned=n < 3) for n in range(1, 9)))
    for number in empty:
        desk.fail(Fault.MUTED, number)
    desk.run(4.0)
    for number in lost - empty:
        desk.fail(Fault.MUTED, number)
    desk.run(6.0)
    reds = {n for i in desk.book.incidents() if i.severity is Severity.RED for n in (i.track,) if n}
    assert reds == lost - empty
    parts = {i.track for i in desk.book.incidents() if i.part_of == UNHEARD}
    assert parts == empty


def test_who_says_what_an_input_carries() -> None:
    """A name in the take or anything in the plan says it; a number alone does not."""
    assert [t.planned for t in plan_for(["", "Boom"]).tracks] == [False, True]
    text = '[[track]]\ninput = 1\n[[track]]\ninput = 2\nname = "Track 2"\n'
    text += '[[track]]\ninput = 3\nname = "Boom"\n[[track]]\ninput = 4\nkind = "ambience"\n'
    plan: Plan = parse_plan(text)
    assert [t.planned for t in plan.tracks] == [False, False, True, True]


def test_they_stay_empty_when_the_plan_is_changed_at_once(desk: Desk) -> None:
    """Code is found on an input in the first second and the watch goes on by another plan: what
    was quiet from the start is no red."""
    desk.fail(Fault.MUTED, 4, 5, 6, 7, 8)
    desk.run(0.3)
    tracks = list(desk.scene.tracks)
    tracks[2] = replace(tracks[2], kind=Kind.TIMECODE)
    same = TrackRemap.of(range(8), [0, 1, -1, 3, 4, 5, 6, 7])
    desk.change(replace(desk.scene, tracks=tuple(tracks)), same)
    desk.run(30.0)
    assert line(desk).tracks == (4, 5, 6, 7, 8)
    assert {i.severity for i in desk.book.incidents()} == {Severity.AMBER}
