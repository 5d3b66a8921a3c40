"""Marks, notes, breaks and batteries as commands to a watch, and over a restart of its engine."""

from __future__ import annotations

import pytest

from engine.alarms.book_checkpoint import save
from engine.model import dataclass_json
from engine.model.batteries import Battery
from engine.model.commands import Attend, Break, Command, FreshBattery, Mark, Note
from engine.model.crew_notes import Attendance, CrewNotes, Remark, Stage
from engine.model.tracks import Plan, Track
from engine.pipeline.pipeline import Pipeline
from engine.session.checkpoint import Checkpoint

PLAN = Plan((Track(3, battery="3h30"), Track(5)))


def asked(*commands: tuple[Command, float]) -> Pipeline:
    """A watch after these commands."""
    pipeline = Pipeline(PLAN, 8_000)
    for command, now_s in commands:
        assert pipeline.command(command, now_s) == []
    return pipeline


def test_marks_and_notes_are_stamped() -> None:
    """Each carries the stream time at which it was said."""
    desk = asked((Mark("take two"), 5.0), (Note(9, "new capsule"), 6.5)).desk
    assert desk.marks == (Remark(5.0, "take two"),)
    assert desk.notes == (Remark(6.5, "new capsule", 9),)


def test_an_assistant_works_on_an_incident() -> None:
    """Who said so, and when; a restart of the engine forgets nothing of it."""
    desk = asked((Attend(9, "Runner", Stage.ON_THE_WAY), 5.0)).desk
    assert desk.attendances == (Attendance(5.0, 9, "Runner", Stage.ON_THE_WAY),)
    assert dataclass_json.loads(CrewNotes, dataclass_json.dumps(desk)) == desk
    assert dataclass_json.loads(CrewNotes, "{}") == CrewNotes()


@pytest.mark.parametrize(
    ("command", "battery"),
    [
        (FreshBattery(3), Battery(3, 100.0, 3.5 * 3600)),
        (FreshBattery(3, 40.0), Battery(3, 40.0, 3.5 * 3600)),
        (FreshBattery(3, 40.0, "90min"), Battery(3, 40.0, 5400.0)),
        (FreshBattery(3, 900.0), Battery(3, 100.0, 3.5 * 3600)),
        (FreshBattery(5), Battery(5, 100.0)),
    ],
)
def test_a_battery_lasts_as_said_or_planned(command: FreshBattery, battery: Battery) -> None:
    """Put in now or earlier, never later; it lasts as said, else as planned, else unknown."""
    assert asked((command, 100.0)).desk.batteries == (battery,)


def test_a_battery_of_no_track_is_refused() -> None:
    """An input that the plan lacks has no pack."""
    assert asked((FreshBattery(4), 100.0)).desk.batteries == ()


def test_a_restart_remembers_the_desk() -> None:
    """Through the form kept on disk, another engine has the same desk and the same break."""
    old = asked((Mark("a"), 1.0), (Note(2, "b"), 2.0), (FreshBattery(3), 3.0), (Break(True), 4.0))
    kept = Checkpoint(9.0, 0.0, (-55.0, -60.0), save(old.book), 1.0, "boot", 2, old.desk)
    new = Pipeline(
        PLAN, 8_000, checkpoint=dataclass_json.loads(Checkpoint, dataclass_json.dumps(kept))
    )
    assert new.desk == old.desk
    assert new.book.on_break
    new.command(Break(False), 10.0)
    assert not new.book.on_break


def test_a_desk_of_an_older_log_is_empty() -> None:
    """What an engine without a desk kept is taken up as well."""
    kept = Checkpoint(9.0, 0.0, (-55.0, -60.0), save(asked().book), 1.0, "boot", 2)
    words = dataclass_json.dumps(kept)
    old = words[: words.index(',"desk"')] + "}"
    assert dataclass_json.loads(Checkpoint, old) == kept


def test_the_snapshot_tells() -> None:
    """A window sees the desk in the next snapshot."""
    pipeline = asked((Mark("a"), 1.0))
    assert pipeline.snapshot(1.0).desk == pipeline.desk
