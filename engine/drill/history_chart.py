"""The crew's drills as one picture: time to seen as a line, right causes and misses under it."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from typing import Final

from engine.drill.drill_history import Past
from engine.report.layout.drawing import Box, Drawing, Path, Point, Shape, Words

WIDTH: Final = 720.0
HEIGHT: Final = 190.0
MOST: Final = 12
"""The last so many drills are drawn."""
EARLY: Final = "*"
_LEFT: Final = 58.0
_TOP: Final = 26.0
_BOTTOM: Final = 112.0
_SIZE: Final = 11.0


def picture(
    drills: Sequence[Past], ink: str, dim: str, line: str, accent: str, bad: str
) -> Drawing:
    """The last drills, oldest at the left; colours are "#rrggbb".

    The newest stands in bold; a cross marks a drill in which nothing was seen.
    """
    shown = list(drills)[-MOST:]
    top_s = _nice(max((p.seen_s for p in shown if p.seen_s is not None), default=10.0))
    shapes: list[Shape] = [Words(0.0, 12.0, "Median from onset to seen", _SIZE, dim)]
    if any(past.stopped for past in shown):
        shapes.append(Words(WIDTH, 12.0, f"{EARLY} ended early", _SIZE, dim, "end"))
    for share in (0.0, 0.5, 1.0):
        y = _BOTTOM - share * (_BOTTOM - _TOP)
        shapes.append(Path((((_LEFT, y), (WIDTH, y)),), stroke=line))
        shapes.append(Words(_LEFT - 8.0, y + 4.0, f"{share * top_s:g} s", _SIZE, dim, "end"))
    step = (WIDTH - _LEFT) / max(len(shown), 1)
    centres = [_LEFT + step * (n + 0.5) for n in range(len(shown))]
    shapes += _curve(shown, centres, top_s, accent, bad)
    for row, name in enumerate(("right", "missed", "level")):
        shapes.append(Words(_LEFT - 8.0, _BOTTOM + 20.0 + 17.0 * row, name, _SIZE, dim, "end"))
    for past, x in zip(shown, centres, strict=True):
        shapes += _under(past, x, ink if past is shown[-1] else dim, past is shown[-1], bad)
    return Drawing(WIDTH, HEIGHT, tuple(shapes), _title(shown))


def _curve(
    shown: Sequence[Past], centres: Sequence[float], top_s: float, accent: str, bad: str
) -> list[Shape]:
    points: list[Point] = []
    shapes: list[Shape] = []
    for past, x in zip(shown, centres, strict=True):
        if past.seen_s is None:
            cross = (((x - 4, _TOP), (x + 4, _TOP + 8)), ((x - 4, _TOP + 8), (x + 4, _TOP)))
            shapes.append(Path(cross, stroke=bad, width=2.0))
            continue
        y = _BOTTOM - min(past.seen_s / top_s, 1.0) * (_BOTTOM - _TOP)
        points.append((x, y))
        shapes.append(Box(x - 3.5, y - 3.5, 7.0, 7.0, accent))
        shapes.append(Words(x, y - 8.0, f"{past.seen_s:.1f}", _SIZE, accent, "middle"))
    if len(points) > 1:
        shapes.insert(0, Path((tuple(points),), stroke=accent, width=2.0))
    return shapes


def _under(past: Past, x: float, ink: str, newest: bool, bad: str) -> list[Shape]:
    day = "now" if newest else time.strftime("%d %b", time.gmtime(past.utc_ms / 1000))
    level = past.level + " blind" * past.blind + EARLY * past.stopped
    figures = (f"{past.right}/{past.faults}", str(past.missed), level, day)
    return [
        Words(
            x,
            _BOTTOM + 20.0 + 17.0 * row,
            text,
            _SIZE,
            bad if row == 1 and past.missed else ink,
            "middle",
            bold=newest,
        )
        for row, text in enumerate(figures)
    ]


def _nice(value: float) -> float:
    """The next of 1, 2, 5, 10, 20, ... at or above it."""
    power = 10.0 ** math.floor(math.log10(max(value, 1.0)))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= value - 1e-9)


def _title(shown: Sequence[Past]) -> str:
    drills = [
        f"{p.level}: seen after {p.seen_s:.1f} s" if p.seen_s is not None else f"{p.level}: unseen"
        for p in shown
    ]
    return "Drills, oldest first: " + "; ".join(drills)
