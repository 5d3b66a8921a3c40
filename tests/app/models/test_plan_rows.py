"""The rows that a new plan begins with."""

from __future__ import annotations

from dataclasses import fields

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.models.plan_rows import TEMPLATES, TrackCounts, names_in
from app.models.plan_sheet import to_text
from app.models.plan_table import PlanTable
from engine.plan.load import parse_plan
from engine.plan.template import new_plan

FEW = st.integers(0, 5)
COUNTS = st.builds(
    TrackCounts,
    **{field.name: FEW for field in fields(TrackCounts)} | {"packs": st.integers(1, 2)},
).filter(lambda counts: counts.total > 0)


def plan_of(rows: list[list[str]]) -> PlanTable:
    """The table that begins with these rows."""
    table = PlanTable(new_plan([row[1] for row in rows]), None)
    table.paste(0, 0, to_text(rows))
    return table


@pytest.mark.parametrize(("name", "counts"), TEMPLATES, ids=lambda one: str(one)[:9])
def test_every_template_is_a_plan(qapp: object, name: str, counts: TrackCounts) -> None:
    """Its rows make a plan without a mistake, as many tracks as its name says."""
    table = plan_of(counts.rows())
    assert table.mistakes == ()
    assert name.startswith(f"{len(parse_plan(table.text).tracks)} tracks")


@settings(max_examples=15)  # each makes a whole table, 20 edits and more
@given(COUNTS)
def test_any_numbers_make_a_plan(qapp: object, counts: TrackCounts) -> None:
    """No mistake, one row a track, inputs from 1 on, both packs of a performer under one name."""
    table = plan_of(counts.rows())
    tracks = parse_plan(table.text).tracks
    assert [track.input for track in tracks] == list(range(1, counts.total + 1))
    lavs = [track for track in tracks if track.kind == "lav"]
    assert len({track.who for track in lavs}) == counts.performers
    assert len(lavs) == counts.performers * counts.packs


def test_names_go_to_both_packs() -> None:
    """Names in a line with commas; who has none is numbered."""
    names = names_in(" Foreman ,Rigger,, ")
    rows = TrackCounts(performers=3, booms=0, ambience=2, talkback=0).rows(names)
    assert [row[1] for row in rows] == [
        "Foreman main",
        "Foreman safety",
        "Rigger main",
        "Rigger safety",
        "Performer 3 main",
        "Performer 3 safety",
        "Ambience left",
        "Ambience right",
    ]
