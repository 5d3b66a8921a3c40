"""Edits of a plan's text: the cell changes, and nothing else does."""

from __future__ import annotations

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from engine.plan.edit import (
    ORDER,
    add_track,
    remove_track,
    set_limits,
    set_rows,
    set_value,
    swap_inputs,
)
from engine.plan.template import new_plan
from tests.support.strategies import untimed

TEXT = """\
# Tonight's plan, by the tower
[take]
title = "Raising the bell"   # for the report

[[track]]
input = 3          # stage box B
name = "Foreman main"
kind = "lav"
who = "Foreman"
level = "main"     # the loud one
# spare pack is 17

[[track]]
input = 1
name = "Boom"  # wireless
kind = "boom"

[track.limits]
silent_red_s = 60.0  # it waits a lot

[limits.lav]
silent_amber_s = 12.0
"""
words = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=20)
keys = st.sampled_from([key for key in ORDER if key != "input"])


def comments(text: str) -> list[str]:
    """The comment of each line that has one; a # within quotes begins none."""
    ends = (line.rpartition('"')[2] for line in text.splitlines())
    return [end.partition("#")[2] for end in ends if "#" in end]


@untimed
@given(place=st.integers(0, 1), key=keys, value=words)
def test_one_cell_changes_one_line(place: int, key: str, value: str) -> None:
    """The value reads back; every comment stays, and so does every line but that one."""
    text = set_value(TEXT, place, key, value)
    before, after = tomllib.loads(TEXT), tomllib.loads(text)
    before["track"][place][key] = value
    assert after == before
    assert comments(text) == comments(TEXT)
    gone = set(TEXT.splitlines()) - set(text.splitlines())
    assert len(gone) <= 1


@untimed
@given(edits=st.lists(st.tuples(st.integers(0, 1), keys, st.none() | words), max_size=8))
def test_any_row_of_edits_reads_back(edits: list[tuple[int, str, str | None]]) -> None:
    """After any edits the text is valid and holds exactly what was set."""
    text, want = TEXT, tomllib.loads(TEXT)
    for place, key, value in edits:
        text = set_value(text, place, key, value)
        if value is None:
            want["track"][place].pop(key, None)
        else:
            want["track"][place][key] = value
    assert tomllib.loads(text) == want


def test_a_swap_exchanges_two_inputs_and_back() -> None:
    """Inputs 3 and 1 change places with their comments where they were; twice is as before."""
    text = swap_inputs(TEXT, 1, 3)
    assert [t["input"] for t in tomllib.loads(text)["track"]] == [1, 3]
    assert "input = 1          # stage box B" in text
    assert swap_inputs(text, 3, 1) == TEXT


def test_a_swap_with_an_input_outside_the_plan_moves_the_track() -> None:
    """A mic that comes up on an input no track has is moved there."""
    inputs = [t["input"] for t in tomllib.loads(swap_inputs(TEXT, 3, 8))["track"]]
    assert inputs == [8, 1]


def test_tracks_come_and_go() -> None:
    """A track added is at the end, one removed takes only its own lines with it."""
    text = add_track(TEXT, 9)
    assert [t["input"] for t in tomllib.loads(text)["track"]] == [3, 1, 9]
    assert "# Tonight's plan, by the tower" in remove_track(text, 0)
    assert [t["input"] for t in tomllib.loads(remove_track(text, 0))["track"]] == [1, 9]


def test_tracks_that_stand_in_one_list_can_be_edited() -> None:
    """TOML allows `track = [{…}]` as well: every edit works, all other lines stay."""
    text = "track = [{input = 1, limits.hum_red_s = 3}, {input = 2}]  # short\n\n"
    text += '[take]\ntitle = "Drill"  # tonight\n'
    for edited, inputs in (
        (swap_inputs(text, 1, 2), [2, 1]),
        (add_track(text, 5), [1, 2, 5]),
        (remove_track(text, 0), [2]),
        (set_value(text, 1, "input", 7), [1, 7]),
    ):
        assert [t["input"] for t in tomllib.loads(edited)["track"]] == inputs
        assert 'title = "Drill"  # tonight' in edited
    named = tomllib.loads(set_limits(set_value(text, 0, "name", "Boom"), 1, {"low_dbfs": -40.0}))
    assert named["track"] == [
        {"input": 1, "name": "Boom", "limits": {"hum_red_s": 3}},
        {"input": 2, "limits": {"low_dbfs": -40.0}},
    ]


def test_a_new_plan_can_be_edited() -> None:
    """The plan that the program writes itself keeps its explanations."""
    text = set_value(new_plan(["Boom", "Lav"]), 1, "kind", "boom")
    assert tomllib.loads(text)["track"][1]["kind"] == "boom"
    assert text.startswith("# Plan: what each input carries")


def test_a_level_that_is_set_is_not_offered_as_well() -> None:
    """A new plan made of a table has one line for it; a row without a level keeps the offer."""
    text = set_rows(new_plan(["Ropes", "Boom"]), [{"level": "safety"}, {"who": "Boom"}])
    assert text.count('level = "safety"\n# level') == 0
    assert text.count("\n# level = ") == 1
    assert tomllib.loads(text)["track"][0]["level"] == "safety"


@untimed
@given(
    place=st.integers(0, 1),
    limits=st.dictionaries(
        st.sampled_from(["silent_amber_s", "silent_red_s", "low_dbfs"]), st.floats(-99.0, 99.0)
    ),
)
def test_limits_of_a_track_read_back(place: int, limits: dict[str, float]) -> None:
    """A track's limits are exactly those set; the rest of the plan is as before."""
    text = set_limits(TEXT, place, limits)
    want = tomllib.loads(TEXT)
    want["track"][place].pop("limits", None)
    if limits:
        want["track"][place]["limits"] = limits
    assert tomllib.loads(text) == want
    assert "# Tonight's plan, by the tower" in text
    if limits.get("silent_red_s") == 60.0 and place == 1:
        assert "# it waits a lot" in text
