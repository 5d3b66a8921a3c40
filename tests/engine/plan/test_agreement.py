"""Where plan and file differ: the file's labels and code stand, and it is said."""

from __future__ import annotations

from engine.model.messages import Kind
from engine.model.tracks import Plan, Track
from engine.plan.agreement import at_the_files_rate, names_apart, with_code
from engine.plan.load import parse_plan

ONE = "[[track]]\ninput = 1\n"


def test_the_files_rate_stands() -> None:
    """No rate in the plan: the file's, in silence. Another one: the file's, and one line."""
    silent = parse_plan(ONE)
    assert at_the_files_rate(silent, "23.976")[0].frame_rate == "23.976"
    assert at_the_files_rate(silent, "23.976")[1] == ()
    plan, (line,) = at_the_files_rate(parse_plan('[take]\nframe_rate = "25"\n' + ONE), "23.976")
    assert plan.frame_rate == "23.976"
    assert "plan says 25" in line
    assert "23.976" in line


def test_the_plans_rate_holds_where_the_file_states_none() -> None:
    """A file without a rate leaves the plan's."""
    plan = parse_plan('[take]\nframe_rate = "30"\n' + ONE)
    assert at_the_files_rate(plan, None) == (plan, ())
    assert at_the_files_rate(plan, "30") == (plan, ())


def test_other_names_are_said_in_one_line() -> None:
    """Case and punctuation are no difference; unnamed tracks differ from nothing."""
    plan = Plan((Track(1, "Boom 1"), Track(2, "Lav"), Track(3), Track(4, "Spare")))
    (line,) = names_apart(plan, ["BOOM-1", "Mate", "Slip", ""])
    assert "2 “Lav” is “Mate”" in line
    assert "Boom" not in line
    assert names_apart(plan, ["boom_1", "", "x", "spare"]) == ()


def test_what_carries_code_is_code() -> None:
    """A track planned as something else is read as timecode and not alarmed; planned code stays."""
    tracks = (Track(1, kind=Kind.TIMECODE), Track(2, "Spare", who="mate"), Track(3))
    plan, (line,) = with_code(Plan(tracks), (1, 2))
    assert [t.kind for t in plan.tracks] == [Kind.TIMECODE, Kind.TIMECODE, Kind.LAV]
    assert plan.tracks[0] is tracks[0]
    assert plan.tracks[1].limit("timecode") == "off"
    assert plan.tracks[1].who == ""
    assert "track 2 “Spare” carries timecode" in line
