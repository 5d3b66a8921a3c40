"""Marks, notes, breaks and batteries of the crew."""

from __future__ import annotations

from engine.model import crew_notes as desks
from engine.model.crew_notes import CrewNotes, Remark, Stage


def test_marks_and_notes_are_kept_in_order() -> None:
    """Marks may be bare; notes hang on their incident; nothing that was said is dropped."""
    desk = desks.mark(CrewNotes(), "", 1.0)
    desk = desks.mark(desk, "second attempt ", 2.0)
    desk = desks.note(desk, 7, "new capsule", 3.0)
    desk = desks.note(desk, 8, "belt slipped", 4.0)
    desk = desks.note(desk, 7, "works again", 5.0)
    assert desk.marks == (Remark(1.0, ""), Remark(2.0, "second attempt"))
    assert desk.notes_on(7) == ("new capsule", "works again")
    assert desk.notes_on(7, 8) == ("new capsule", "belt slipped", "works again")


def test_an_empty_note_is_none() -> None:
    """A note without words changes nothing."""
    assert desks.note(CrewNotes(), 7, "  ", 3.0) == CrewNotes()


def test_a_break_keeps_its_begin() -> None:
    """Asking again for a break that runs does not begin it anew; ending it ends it."""
    desk = desks.set_break(CrewNotes(), True, 10.0)
    assert desks.set_break(desk, True, 20.0).break_since_s == 10.0
    assert not desks.set_break(desk, False, 30.0).on_break


def test_a_fresh_battery_replaces_the_last() -> None:
    """One battery a track: the newest."""
    desk = desks.fresh_battery(CrewNotes(), 3, 5.0, 3600.0)
    desk = desks.fresh_battery(desk, 3, 50.0, None)
    assert [(b.fresh_s, b.lasts_s) for b in desk.batteries] == [(50.0, None)]


def test_the_last_assistant_works_on_an_incident() -> None:
    """One assistant an incident; who says so later takes over, and anybody may call it off."""
    desk = desks.attend(CrewNotes(), 7, "Second assistant", Stage.ON_THE_WAY, 3.0)
    desk = desks.attend(desk, 8, "Runner ", Stage.ON_THE_WAY, 4.0)
    desk = desks.attend(desk, 7, "Runner", Stage.FIXED, 5.0)
    attendance = desk.attendance_of(7)
    assert attendance is not None
    assert (attendance.words, attendance.at_s) == ("Runner: fixed?", 5.0)
    assert desk.attendance_of(7, 8) == attendance
    desk = desks.attend(desk, 7, "Runner", None, 6.0)
    assert desk.attendance_of(7) is None
    assert [a.words for a in desk.attendances] == ["Runner is on the way"]


def test_attendances_are_bounded() -> None:
    """The oldest are forgotten, so that no night fills the memory."""
    desk = CrewNotes()
    for number in range(desks.MOST_ATTENDED + 5):
        desk = desks.attend(desk, number, "Runner", Stage.ON_THE_WAY, float(number))
    assert len(desk.attendances) == desks.MOST_ATTENDED
    assert desk.attendance_of(4) is None
    assert desk.attendance_of(5) is not None
