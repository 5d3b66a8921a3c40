"""What pages are made of, as plain data; HTML and PDF are two ways to set the same blocks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from engine.report.layout.drawing import Drawing
from engine.report.layout.severity_marks import Mark


class Tone(StrEnum):
    """How a line is set."""

    PLAIN = "plain"
    DIM = "dim"
    GOOD = "good"
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading: `level` 1 (the report), 2 (a take), 3 (a part).

    new_page : begins one; `landscape` holds from there to the next that does
    anchor : what cells link to
    """

    text: str
    level: int
    new_page: bool = False
    landscape: bool = False
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Facts:
    """Names with values, side by side as far as there is room."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A table's column: `share` of the width; numbers stand to the right."""

    name: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: text, a mark before it, and whether it stands out.

    link : the anchor of what it leads to; anchor : by which it is found itself
    """

    text: str
    mark: Mark | None = None
    bold: bool = False
    tone: Tone = Tone.PLAIN
    link: str = ""
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under a head that is repeated on every page."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class Pictures:
    """Drawings, so many side by side."""

    drawings: tuple[Drawing, ...]
    across: int = 1


Block = Heading | Text | Facts | Table | Pictures
