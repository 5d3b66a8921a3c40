"""Pictures as plain data: boxes, paths and words; drawn as SVG or painted on a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle."""

    x: float
    y: float
    width: float
    height: float
    fill: str


@dataclass(frozen=True, slots=True)
class Path:
    """Lines through points; each part stands alone. Closed and filled where there is a `fill`."""

    parts: tuple[tuple[Point, ...], ...]
    stroke: str = ""
    width: float = 1.0
    fill: str = ""
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; `y` is its base line, `size` the font's size."""

    x: float
    y: float
    text: str
    size: float
    colour: str
    anchor: Anchor = "start"
    bold: bool = False


Shape = Box | Path | Words


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes in a frame of that size, later ones over earlier ones; `title` says it in words."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str


def hatched(box: Box, colour: str, gap: float, *, crossed: bool = False) -> Path:
    """Slanted lines over a box, as plain lines: every program and printer can draw them."""
    parts: list[tuple[Point, ...]] = []
    x0, y0, x1, y1 = box.x, box.y, box.x + box.width, box.y + box.height
    offset = gap / 2.0
    while offset < box.width + box.height:
        # On the line x - x0 + y1 - y = offset, from its lower left to its upper right end.
        low_x, low_y = (x0 + offset, y1) if offset <= box.width else (x1, y1 - offset + box.width)
        if offset <= box.height:
            high_x, high_y = x0, y1 - offset
        else:
            high_x, high_y = x0 + offset - box.height, y0
        parts.append(((low_x, low_y), (high_x, high_y)))
        if crossed:
            parts.append(((low_x, y0 + y1 - low_y), (high_x, y0 + y1 - high_y)))
        offset += gap
    return Path(tuple(parts), stroke=colour, width=0.9)
