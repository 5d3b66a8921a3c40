"""Plans made from tables: rows of a spreadsheet, saved as text."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Kind, PackLevel
from engine.plan.load import parse_plan
from engine.plan.table_file import TableFileError, plan_of_table


def plan_of(tmp_path: Path, text: str | bytes):
    """The plan that is made of a table of that text."""
    path = tmp_path / "Raising the bell.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    made, inputs = plan_of_table(path)
    return parse_plan(made), inputs


@pytest.mark.parametrize("mark", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
def test_heads_say_what_a_column_is(tmp_path: Path, mark: str) -> None:
    """In any order, in the words of the trade, whatever parts the cells."""
    rows = [
        ["Track name", "Channel", "Performer", "Level", "Kind", "Remark"],
        ["Foreman main", "3", "Foreman", "Main", "Lav", "new capsule"],
        ["Boom", "7", "", "", "boom", ""],
    ]
    plan, inputs = plan_of(tmp_path, "\r\n".join(mark.join(row) for row in rows))
    first, second = plan.tracks
    assert (first.input, first.name, first.who) == (3, "Foreman main", "Foreman")
    assert (first.kind, first.level) == (Kind.LAV, PackLevel.MAIN)
    assert (second.input, second.name, second.kind) == (7, "Boom", Kind.BOOM)
    assert (plan.title, inputs) == ("Raising the bell", 7)


def test_names_alone_are_enough(tmp_path: Path) -> None:
    """A list of names, one a line, is inputs 1, 2 and on."""
    plan, inputs = plan_of(tmp_path, "Foreman\nRigger\n\nBoom\n")
    assert [(t.input, t.name) for t in plan.tracks] == [(1, "Foreman"), (2, "Rigger"), (3, "Boom")]
    assert inputs == 3


def test_numbers_first_are_inputs(tmp_path: Path) -> None:
    """Without heads the columns are those of a plan."""
    plan, _ = plan_of(tmp_path, "4,Foreman,lav,Foreman\n2,Boom,boom\n")
    assert [(t.input, t.name, t.kind.value) for t in plan.tracks] == [
        (2, "Boom", "boom"),
        (4, "Foreman", "lav"),
    ]


def test_what_spreadsheets_write(tmp_path: Path) -> None:
    """A byte order mark, Windows' own letters, quoted cells."""
    plan, _ = plan_of(tmp_path, '\ufeffName,Placement\n"Rigger, spare",under apron\n')
    assert plan.tracks[0].name == "Rigger, spare"
    plan, _ = plan_of(tmp_path, "Name\nTürmer\n".encode("cp1252"))
    assert plan.tracks[0].name == "Türmer"


@pytest.mark.parametrize("text", ["", "\n\n", "Name,Kind\n"], ids=["empty", "blank", "heads only"])
def test_a_file_without_a_row_is_one_clear_line(tmp_path: Path, text: str) -> None:
    """Nothing to make a plan of."""
    with pytest.raises(TableFileError, match="no row"):
        plan_of(tmp_path, text)
    with pytest.raises(TableFileError, match="can't be read"):
        plan_of_table(tmp_path / "not there.csv")


CELL = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc", "Zl", "Zp"]))


@given(st.lists(CELL.filter(lambda s: s.strip()), min_size=1, max_size=20))
def test_every_name_becomes_a_row(tmp_path_factory: pytest.TempPathFactory, names: list) -> None:
    """Whatever stands in a column of names, each row is a track, in order."""
    out = io.StringIO()
    csv.writer(out).writerows([["Name", "Kind"], *([name, "lav"] for name in names)])
    path = tmp_path_factory.mktemp("table") / "night.csv"
    path.write_text(out.getvalue(), encoding="utf-8", newline="")
    _, inputs = plan_of_table(path)
    assert inputs == len(names)
