"""The words of the glance view."""

from __future__ import annotations

from dataclasses import replace

from app.models.fix_cards import cards
from app.models.glance_lines import entries, live, scene
from engine.model.crew_notes import CrewNotes, Stage, attend
from engine.model.messages import Alarm, AlarmState, Fault, Severity
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
SNAPSHOT = fake_client.snapshot(PLAN, fake_client.tower_alarms())


def test_only_what_is_wrong_in_the_lists_order() -> None:
    """Uncovered, red, amber, as in the fix list; what is back is not there."""
    found = entries(cards(PLAN, SNAPSHOT))
    assert [(e.numbers, e.name, e.fault, e.time) for e in found] == [
        ("7 + 8", "Foreman", "SILENT", "0:24"),
        ("9", "Boom scaffold", "MUTED", "1:10 seen"),
        ("3", "Rigger main", "CLIPPING", "0:06"),
    ]
    assert [e.uncovered for e in found] == [True, False, False]


def test_each_says_where_and_what_to_check() -> None:
    """Pack, place and first check of each; in short without labels that repeat the input."""
    first, _, covered = entries(cards(PLAN, SNAPSHOT))
    assert first.where == "pack 7 chest · pack 8 small of back"
    assert first.where_short == "chest · small of back"
    assert first.check.startswith("Check: mic plug")
    assert first.check_short == "Check: mic plug"
    assert covered.check_short == "Use 4 Rigger safety meanwhile"


def test_a_pack_labelled_unlike_its_input_is_always_named() -> None:
    """Pack 8 on input 7 would mislead without its label."""
    tracks = (fake_client.Track(7, "Foreman", who="Foreman", pack="8", placement="belt"),)
    one = fake_client.incident(1, 7, Fault.MUTED, Severity.RED, 5)
    plan = fake_client.Plan(tracks)
    shot = fake_client.snapshot(plan, [Alarm(one, AlarmState.UNACKNOWLEDGED)])
    assert entries(cards(plan, shot))[0].where_short == "pack 8 belt"


def test_live_counts_tracks_with_nothing_wrong() -> None:
    """Four of twelve tracks are in fault: eight are live; out of service counts as not live."""
    assert live(PLAN, SNAPSHOT) == (9, 13)
    assert live(PLAN, fake_client.snapshot(PLAN, out_of_service=(1,))) == (12, 13)


def test_marks_nobody_may_miss() -> None:
    """Standby, break and silenced chimes are written over all else."""
    desk = CrewNotes(break_since_s=fake_client.NOW_S - 65)
    made = scene(
        PLAN, fake_client.snapshot(PLAN, standby=True, desk=desk), (), "21:07:44", "CHIMES OFF"
    )
    assert made.marks == ("STANDBY: not rolling", "BREAK 1:05", "CHIMES OFF")


def test_who_is_on_the_way_comes_first() -> None:
    """An assistant who works on a fault is named before what to check."""
    boom = next(a for a in SNAPSHOT.alarms if a.incident.track == 9)
    desk = attend(CrewNotes(), boom.incident.id, "Second assistant", Stage.ON_THE_WAY, 1.0)
    found = entries(cards(PLAN, replace(SNAPSHOT, desk=desk)))
    assert found[1].check.startswith("Second assistant is on the way · Is the pack on")
    assert found[1].check_short == "Second assistant is on the way"
    assert found[0].check_short == "Check: mic plug"
