"""How often each piece of kit failed, this session against those before, as one picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from engine.report.content.crew_figures import KitFigures
from engine.report.layout.drawing import Box, Drawing, Path, Shape, Words
from engine.report.layout.palette import COVER, DIM, EDGE, INK, LINE

WIDTH: Final = 720.0
MOST: Final = 8
"""Rows: what failed most often."""
SESSIONS: Final = 11
"""Columns: this session, and the last ones before it."""
_LEFT: Final = 130.0
_TOP: Final = 32.0
_ROW: Final = 30.0
_BAR: Final = 18.0
_SIZE: Final = 10.0

Counts = Mapping[tuple[str, str], int]


def kit_chart(kit: Sequence[KitFigures], earlier: Sequence[Counts]) -> Drawing:
    """A row for each of `kit`, a column a session, oldest at the left; bars share one scale.

    `earlier` holds the counts of sessions before, newest first. Where a session did not have a
    piece of kit a dash stands; a line without a bar is a session in which it held.
    """
    shown, before = list(kit)[:MOST], list(earlier)[: SESSIONS - 1][::-1]
    known = [[session.get((one.what, one.name)) for session in before] for one in shown]
    counts = [[*row, one.failures] for row, one in zip(known, shown, strict=True)]
    most = max((n for row in counts for n in row if n), default=1)
    step = (WIDTH - _LEFT) / (len(before) + 1)
    shapes: list[Shape] = []
    for column in range(len(before) + 1):
        middle, ago = _LEFT + step * (column + 0.5), len(before) - column
        text = f"{ago} before" if ago else "this session"
        shapes.append(Words(middle, 12.0, text, _SIZE, DIM if ago else INK, "middle", not ago))
    for row, (one, its) in enumerate(zip(shown, counts, strict=True)):
        y = _TOP + _ROW * row + _BAR
        name = f"{one.what} {one.name}"
        short = name if len(name) <= 24 else name[:23] + "…"
        shapes.append(Words(0.0, y, short, _SIZE, INK, bold=True))
        shapes.append(Path((((_LEFT, y), (WIDTH, y)),), stroke=LINE))
        for column, count in enumerate(its):
            now = column == len(before)
            shapes += _bar(count, _LEFT + step * (column + 0.5), y, most, now=now)
    height = _TOP + _ROW * len(shown)
    return Drawing(WIDTH, height, tuple(shapes), _title(shown, before))


def _bar(count: int | None, middle: float, y: float, most: int, *, now: bool) -> list[Shape]:
    if count is None:
        return [Words(middle, y - 4.0, "\N{EN DASH}", _SIZE, DIM, "middle")]
    if not count:
        return []
    high = max(_BAR * count / most, 2.0)
    return [
        Box(middle - 9.0, y - high, 18.0, high, COVER if now else EDGE),
        Words(middle + 13.0, y - 3.0, str(count), _SIZE, INK if now else DIM, bold=now),
    ]


def _title(shown: Sequence[KitFigures], before: Sequence[Counts]) -> str:
    """The picture in words."""
    each = []
    for one in shown:
        known = [s[one.what, one.name] for s in before if (one.what, one.name) in s]
        past = f", before {', '.join(map(str, known))}" if known else ""
        each.append(f"{one.what} {one.name} {one.failures}{past}")
    return "Failures in this session and in those before, oldest first: " + "; ".join(each)
