"""A plan from a table: rows of a spreadsheet, saved as text, with or without heads."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from engine.model.safe_text import harmless
from engine.plan.edit import ORDER, set_rows
from engine.plan.template import new_plan

TABLES: Final = (".csv", ".tsv", ".txt")
"""How the names of such files end."""

MOST_BYTES: Final = 1024 * 1024
"""More is no list of tracks. Ours."""

MOST_ROWS: Final = 512
"""As many as a take has channels at most."""

_HEADS: Final[Mapping[str, str]] = {
    **{key: key for key in ORDER},
    "channel": "input",
    "ch": "input",
    "no": "input",
    "track": "name",
    "track name": "name",
    "performer": "who",
    "role": "who",
    "mic": "placement",
    "position": "placement",
}
"""Key by its head, in small letters; words of the trade beside the plan's own."""

_DELIMITERS: Final = ",;\t"


class TableFileError(ValueError):
    """No plan can be made of that file; one clear line."""


def plan_of_table(path: str | Path) -> tuple[str, int]:
    """The text of a new plan with the rows of that file, and its highest input.

    Cells are separated by comma, semicolon or tab. A first row of heads says which column is what;
    without one the columns are those of a plan, from `input` on where the first cell is a number,
    else from `name` on. Words that a plan does not allow stay, for `plan check` and the table in
    the window to point at.

    Raises
    ------
    TableFileError
        Where the file can't be read, or holds no row.
    """
    rows = _rows(_text(Path(path)))
    keys = _heads(rows[0]) if rows else None
    if keys is not None:
        rows = rows[1:]
    elif rows:
        keys = list(ORDER if rows[0][0].isdecimal() else ORDER[1:])
    if not rows or keys is None:
        raise TableFileError(f"{harmless(str(path))}: no row of a track in it")
    values = [_values(row, keys, number) for number, row in enumerate(rows, start=1)]
    text = new_plan([str(row.get("name", "")) for row in values], Path(path).stem)
    highest = max((n for row in values if isinstance(n := row["input"], int)), default=len(rows))
    return set_rows(text, values), highest


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise TableFileError(f"{harmless(str(path))}: too large for a list of tracks")
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise TableFileError(f"{harmless(str(path))}: can't be read: {reason}") from error
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")  # spreadsheets on Windows save so


def _rows(text: str) -> list[list[str]]:
    """The rows that are not empty, without blanks around their cells."""
    first = text.split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=first.count)
    read = csv.reader(text.splitlines(), delimiter=delimiter)
    rows = [[cell.strip() for cell in row] for row in read]
    return [row for row in rows if any(row)][: MOST_ROWS + 1]


def _heads(row: Sequence[str]) -> list[str] | None:
    """The keys that a row of heads names, "" for a column that a plan lacks; None: it is none."""
    keys = [_HEADS.get(cell.lower(), "") for cell in row]
    return keys if "name" in keys or sum(map(bool, keys)) > 1 else None


def _values(row: Sequence[str], keys: Sequence[str], number: int) -> dict[str, str | int]:
    found: dict[str, str | int] = {"input": number}
    for key, cell in zip(keys, row, strict=False):
        if key == "input" and cell.isdecimal():
            found[key] = int(cell)
        elif key in ("kind", "level"):
            found[key] = cell.lower()
        elif key and key != "input":
            found[key] = cell
    return {key: value for key, value in found.items() if value != ""}
