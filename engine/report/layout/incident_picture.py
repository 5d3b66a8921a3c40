"""The picture of one incident: waveform and level around its onset."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

import numpy as np

from engine.model.messages import Flags, Severity
from engine.model.number_text import MINUS, number
from engine.report.content import words
from engine.report.content.report_data import Entry, Excerpt, Section
from engine.report.layout.drawing import Box, Drawing, Path, Point, Shape, Words
from engine.report.layout.palette import (
    AMBER,
    AMBER_GROUND,
    DIM,
    EDGE,
    INK,
    LEVEL,
    LINE,
    RED,
    RED_GROUND,
)

WIDTH: Final = 350.0
_LEFT: Final = 30.0
_HEAD: Final = 26.0
_WAVE: Final = 52.0
_LEVELS: Final = 56.0
_QUIETEST_DBFS: Final = -90.0
_AMPLITUDES: Final = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
_GRID_DBFS: Final = (0, -30, -60, -90)


def incident_picture(entry: Entry, section: Section) -> Drawing:
    """The picture; the waveform is left out where only levels were kept."""
    excerpt = entry.excerpt
    assert excerpt is not None
    wave = excerpt.low is not None
    level_top = _HEAD + (_WAVE + 4 if wave else 0)
    bottom = level_top + _LEVELS
    x = _scale(excerpt)
    shapes: list[Shape] = list(_heading(entry, section))
    shapes += _span(entry, x, _HEAD, bottom)
    if wave:
        shapes += _waveform(excerpt, _HEAD + _WAVE / 2)
    shapes += _level(excerpt, x, level_top)
    onset = x(entry.start_s)
    colour = RED if entry.incident.severity is Severity.RED else AMBER
    shapes.append(Path((((onset, _HEAD), (onset, bottom)),), stroke=colour, width=1.0, dashed=True))
    shapes += _axis(entry, excerpt, section, bottom)
    title = f"{entry.word}, {words.subject(entry)}, at {section.timecode(entry.start_s)}"
    return Drawing(WIDTH, bottom + 14, tuple(shapes), title)


class _scale:  # noqa: N801 - used like a function
    """Time to x."""

    def __init__(self, excerpt: Excerpt) -> None:
        self._start_s, self._end_s = excerpt.start_s, excerpt.end_s

    def __call__(self, at_s: float) -> float:
        share = (at_s - self._start_s) / max(self._end_s - self._start_s, 1e-6)
        return _LEFT + min(max(share, 0.0), 1.0) * (WIDTH - _LEFT)


def _heading(entry: Entry, section: Section) -> Iterable[Words]:
    name = f"No. {entry.number}: {words.subject(entry)}, {entry.word}"
    yield Words(0, 10, name if len(name) <= 52 else name[:51] + "…", 10, INK, bold=True)
    lasted = words.length(entry.length_s) + (", to the end" if entry.lasts else "")
    yield Words(
        0, 21, f"{section.timecode(entry.start_s)}, {words.severity(entry)}, {lasted}", 8.5, DIM
    )


def _span(entry: Entry, x: _scale, top: float, bottom: float) -> Iterable[Box]:
    ground = RED_GROUND if entry.incident.severity is Severity.RED else AMBER_GROUND
    start, end = x(entry.start_s), x(entry.end_s)
    yield Box(start, top, max(end - start, 1.0), bottom - top, ground)


def _waveform(excerpt: Excerpt, middle: float) -> Iterable[Shape]:
    """Extremes of each step as one filled outline; what is not known stays empty."""
    assert excerpt.low is not None
    assert excerpt.high is not None
    yield Path((((_LEFT, middle), (WIDTH, middle)),), stroke=LINE, width=0.5)
    half = _WAVE / 2 - 1
    width = (WIDTH - _LEFT) / max(len(excerpt.low), 1)
    # Thinner than a hair would not show: at least 0.3 high.
    whole = _full_height(excerpt)
    high = middle - np.clip(excerpt.high / whole, -1.0, 1.0) * half - 0.15
    low = middle - np.clip(excerpt.low / whole, -1.0, 1.0) * half + 0.15
    for start, stop in _known(np.isnan(excerpt.low)):
        xs = _LEFT + np.arange(start, stop + 1) * width
        upper, lower = (
            np.r_[high[start:stop], high[stop - 1]],
            np.r_[low[start:stop], low[stop - 1]],
        )
        outline = np.column_stack((np.r_[xs, xs[::-1]], np.r_[upper, lower[::-1]]))
        yield Path((tuple((x, y) for x, y in outline.tolist()),), fill=LEVEL)
    yield Words(_LEFT - 3, middle - half + 6, f"+{whole:g}", 7, DIM, "end")
    yield Words(_LEFT - 3, middle + half, f"{MINUS}{whole:g}", 7, DIM, "end")


def _full_height(excerpt: Excerpt) -> float:
    """The amplitude at the picture's edge: a round one that all of it fits in."""
    assert excerpt.low is not None
    assert excerpt.high is not None
    known = [
        float(np.nanmax(np.abs(e))) for e in (excerpt.low, excerpt.high) if np.isfinite(e).any()
    ]
    return next((a for a in _AMPLITUDES if a >= max(known, default=1.0)), 1.0)


def _known(unknown: Flags) -> list[tuple[int, int]]:
    """Runs (start, stop) of steps that are known."""
    edges = np.flatnonzero(np.diff(np.concatenate(([True], unknown, [True])).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _level(excerpt: Excerpt, x: _scale, top: float) -> Iterable[Shape]:
    def y(dbfs: float) -> float:
        return top + 3 + min(max(dbfs / _QUIETEST_DBFS, 0.0), 1.0) * (_LEVELS - 6)

    for dbfs in _GRID_DBFS:
        yield Path((((_LEFT, y(dbfs)), (WIDTH, y(dbfs))),), stroke=LINE, width=0.5)
        text = number(dbfs, digits=0)
        yield Words(_LEFT - 3, y(dbfs) + 2.5, text, 7, DIM, "end")
    yield Words(0, y(-45) + 2.5, "dBFS", 7, DIM)
    step_s = excerpt.level_step_s
    parts: list[tuple[Point, ...]] = []
    for start, stop in _known(np.isnan(excerpt.level_dbfs)):
        points: list[Point] = []
        for step in range(start, stop):
            at_s = excerpt.start_s + step * step_s
            height = y(float(excerpt.level_dbfs[step]))
            points += [(x(at_s), height), (x(at_s + step_s), height)]
        parts.append(tuple(points))
    if parts:
        yield Path(tuple(parts), stroke=INK, width=1.1)


def _axis(entry: Entry, excerpt: Excerpt, section: Section, bottom: float) -> Iterable[Shape]:
    whole_s = excerpt.end_s - excerpt.start_s
    step_s = 1.0 if whole_s <= 12.0 else 5.0
    first = math.ceil((excerpt.start_s - entry.start_s) / step_s)
    x = _scale(excerpt)
    for n in range(first, math.floor((excerpt.end_s - entry.start_s) / step_s) + 1):
        at = x(entry.start_s + n * step_s)
        yield Path((((at, bottom), (at, bottom + 3)),), stroke=EDGE, width=0.6)
        if n and n % 2 == 0 and _LEFT + 8 < at < WIDTH - 8:
            text = number(n * step_s, "s", digits=0, signed=True)
            yield Words(at, bottom + 11, text, 7.5, DIM, "middle")
    yield Words(x(entry.start_s), bottom + 11, "onset", 7.5, INK, "middle", bold=True)
