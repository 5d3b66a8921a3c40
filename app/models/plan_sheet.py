"""What a spreadsheet does to a plan: paste, copy, fill, empty, move, swap. Pure text in and out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

Rows = list[list[str]]
_CELL: Final = "\t"


def to_cells(text: str) -> Rows:
    """Rows of cells from a spreadsheet's clipboard: tab-separated, one line a row."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").split("\n")
    return [[cell.strip() for cell in line.split(_CELL)] for line in lines]


def to_text(rows: Sequence[Sequence[str]]) -> str:
    """The same the other way round; a cell's own tabs and line breaks become blanks."""
    clean = ((" ".join(cell.split()) for cell in row) for row in rows)
    return "\n".join(_CELL.join(row) for row in clean)


def heads_of(row: Sequence[str], heads: Mapping[str, str]) -> list[str] | None:
    """The keys that a row of heads names, "" for one that a plan lacks; None if it is no such row.

    heads : key by its head, in small letters
    """
    names = [cell.strip().lower() for cell in row]
    known = sum(name in heads for name in names)
    if known < 2 and not (known == 1 and len(names) == 1):
        return None
    return [heads.get(name, "") for name in names]


def by_letter(words: Sequence[str], letter: str, now: str) -> str | None:
    """The next of the words that begins with that letter, after the present one; None: there is
    none."""
    fitting = [word for word in words if word.lower().startswith(letter.lower())]
    if not fitting:
        return None
    return fitting[(fitting.index(now) + 1) % len(fitting)] if now in fitting else fitting[0]


Change = tuple[int, str, str]
"""Row, key and new words of a cell."""

PLACEHOLDER: Final = re.compile(r"Performer \d+")
"""Stands in a template for who wears the packs."""


def followers(rows: Sequence[Mapping[str, Any]], at: int, key: str, words: str) -> list[Change]:
    """What else changes where a template's placeholder gets its name in one cell: `who` and the
    names of all of that performer's packs. A name that anyone typed is left alone."""
    who = str(rows[at].get("who", ""))
    if key not in ("who", "name") or not words or not PLACEHOLDER.fullmatch(who):
        return []
    level = f" {rows[at].get('level', '')}"
    named = words
    if key == "name" and level.strip() and words.lower().endswith(level):
        named = words[: -len(level)].strip() or words
    changes: list[Change] = []
    for n, row in enumerate(rows):
        if row.get("who") != who:
            continue
        label = str(row.get("name", ""))
        if (n, "who") != (at, key):
            changes.append((n, "who", named))
        if (n, "name") != (at, key) and label.startswith(who):
            changes.append((n, "name", named + label[len(who) :]))
    return changes


def in_a_cell(message: str) -> str:
    """Nobody types quotes into a cell."""
    return message.replace("allowed, in double quotes:", "allowed:").replace('"', "")


def shown(value: object) -> str:
    """A limit as it is typed."""
    return f'"{value}"' if isinstance(value, str) else str(value)


def free_input(used: Sequence[int]) -> int:
    """The first input that no track has."""
    return next(n for n in range(1, len(used) + 2) if n not in used)
