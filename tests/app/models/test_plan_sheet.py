"""What a spreadsheet does to a plan."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.models.plan_rows import KEYS, TEMPLATES
from app.models.plan_sheet import by_letter, followers, heads_of, to_cells, to_text
from app.models.plan_table import PlanTable
from engine.plan.load import parse_plan
from engine.plan.template import new_plan

WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=9)
SIX = new_plan([f"Track {n}" for n in range(1, 7)])


@given(st.lists(st.lists(WORDS, min_size=3, max_size=3), min_size=1, max_size=6))
def test_cells_come_back_from_a_spreadsheet(rows: list[list[str]]) -> None:
    """What is copied is pasted as it was."""
    assert to_cells(to_text(rows)) == rows


def test_heads_are_told_from_rows() -> None:
    """A row of known heads names the columns; anything else is a row of cells."""
    heads = {"input": "input", "name": "name", "kind": "kind"}
    assert heads_of(["Name", "Colour", "Kind"], heads) == ["name", "", "kind"]
    assert heads_of(["Foreman", "lav"], heads) is None


def test_letters_go_through_the_words() -> None:
    """The same letter again takes the next word; one that fits none changes nothing."""
    kinds = ("lav", "boom", "ambience")
    assert by_letter(kinds, "b", "lav") == "boom"
    assert by_letter(("main", "mute"), "m", "main") == "mute"
    assert by_letter(kinds, "z", "lav") is None


def test_rows_are_pasted_with_and_without_heads(qapp: object) -> None:
    """By their heads in any order, or from the chosen cell on; missing rows are added; one undo."""
    model = PlanTable(SIX, None)
    model.paste(5, 1, "Kind\tName\nboom\tBoom square\nambience\tSquare\n")
    assert [model.words(5, "kind"), model.words(5, "name")] == ["boom", "Boom square"]
    assert [model.words(6, "input"), model.words(6, "name")] == ["7", "Square"]
    model.undo_stack.undo()
    assert model.text == SIX
    model.paste(0, 1, "Foreman main\tlav\tForeman\tmain\nForeman safety\tlav\tForeman\tsafety")
    assert model.words(1, "level") == "safety"
    assert model.mistakes == ()


def test_many_rows_go_move_and_swap_in_one_step_each(qapp: object) -> None:
    """Each is taken back by one undo."""
    model = PlanTable(SIX, None)
    model.remove_rows([1, 3, 5])
    assert [model.words(n, "input") for n in range(3)] == ["1", "3", "5"]
    model.move(2, -2)
    assert [model.words(n, "input") for n in range(3)] == ["5", "1", "3"]
    model.swap_inputs(0, 1)
    assert [model.words(n, "input") for n in range(3)] == ["1", "5", "3"]
    model.set_cells("empty cells", [(0, 1, ""), (1, 1, "")])
    assert model.words(0, "name") == ""
    for _ in range(4):
        model.undo_stack.undo()
    assert model.text == SIX


def test_the_take_is_told_above_the_table(qapp: object) -> None:
    """Title, date and mixer are written into the plan, and can be taken back."""
    model = PlanTable(SIX, None)
    model.set_take("title", "Raising the bell")
    model.set_take("mixer", "the mixer")
    assert parse_plan(model.text).title == "Raising the bell"
    model.undo_stack.undo()
    assert model.take("mixer") == ""


def rows_of(number: int) -> list[dict[str, str]]:
    """The rows of a template, by key."""
    return [dict(zip(KEYS, row, strict=True)) for row in TEMPLATES[number][1].rows()]


@pytest.mark.parametrize(
    ("key", "words"), [("name", "Foreman main"), ("name", "Foreman"), ("who", "Foreman")]
)
def test_a_placeholder_is_named_once(key: str, words: str) -> None:
    """One name in either cell names both packs of a template's performer, and nobody else."""
    rows = rows_of(0)
    rows[0][key] = words
    before = rows_of(0)
    for row, other, value in followers(before, 0, key, words):
        rows[row][other] = value
    assert [row["who"] for row in rows[:3]] == ["Foreman", "Foreman", "Performer 2"]
    assert rows[1]["name"] == "Foreman safety"
    assert rows[0]["name"] in (words, "Foreman main")
    assert rows[2:] == before[2:]


def test_a_name_that_somebody_typed_is_left_alone() -> None:
    """Only placeholders follow."""
    rows = [{"input": "1", "name": "Foreman main", "who": "Foreman", "level": "main"}] * 2
    assert followers(rows, 0, "who", "Verger") == []
    assert followers(rows_of(0), 0, "pack", "17") == []
