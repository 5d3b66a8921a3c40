"""The shape of each severity, so that none is told by colour alone."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from engine.report.content.report_data import Entry
from engine.report.layout.drawing import Drawing, Path, Point, Shape
from engine.report.layout.palette import AMBER, EDGE, PAPER, RED


class Mark(StrEnum):
    """Uncovered: an octagon with a cross; red: an octagon; amber: a triangle; good: a ring."""

    UNCOVERED = "uncovered"
    RED = "red"
    AMBER = "amber"
    GOOD = "good"


SIZE: Final = 20.0
_OCTAGON: Final[tuple[Point, ...]] = (
    *((6, 1), (14, 1), (19, 6), (19, 14)),
    *((14, 19), (6, 19), (1, 14), (1, 6)),
)
_TRIANGLE: Final[tuple[Point, ...]] = ((10, 2), (19, 18), (1, 18))
_DIAMOND: Final[tuple[Point, ...]] = ((10, 4), (16, 10), (10, 16), (4, 10))
_CROSS: Final[tuple[tuple[Point, ...], ...]] = (((6, 6), (14, 14)), ((14, 6), (6, 14)))


def mark_of(entry: Entry) -> Mark:
    """The mark of an incident."""
    if entry.incident.uncovered:
        return Mark.UNCOVERED
    return Mark(entry.incident.severity.word)


def shapes(mark: Mark) -> tuple[Shape, ...]:
    """The mark's shapes in a box of 20 × 20."""
    match mark:
        case Mark.UNCOVERED:
            cross = Path(_CROSS, stroke=PAPER, width=3.0)
            return (Path((_OCTAGON,), fill=RED), cross)
        case Mark.RED:
            return (Path((_OCTAGON,), fill=RED),)
        case Mark.AMBER:
            return (Path((_TRIANGLE,), fill=AMBER),)
        case Mark.GOOD:
            return (Path(((*_DIAMOND, _DIAMOND[0]),), stroke=EDGE, width=2.0),)


def drawing(mark: Mark) -> Drawing:
    """The mark by itself."""
    return Drawing(SIZE, SIZE, shapes(mark), mark.value)
