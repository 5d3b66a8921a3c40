"""The picture of a whole take: every track's level over time, incidents, marks and breaks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from engine.model.messages import Levels, Severity
from engine.report.content import words
from engine.report.content.report_data import Entry, Section
from engine.report.layout.drawing import Box, Drawing, Path, Point, Shape, Words, hatched
from engine.report.layout.palette import (
    AMBER,
    AMBER_GROUND,
    BREAK_GROUND,
    COVER,
    DIM,
    EDGE,
    INK,
    LEVEL,
    LINE,
    PAPER,
    RED,
    RED_GROUND,
)

WIDTH: Final = 720.0
LEFT: Final = 128.0
_TOP: Final = 18.0
_BAR: Final = 5.0
_NUMBERS: Final = 8.5
"""Left free above the level, for the incidents' numbers."""
_QUIETEST_DBFS: Final = -72.0
_MOST_COLUMNS: Final = 1200
_LEAST_WIDTH: Final = 2.5
"""An incident of a tenth of a second in two hours must still be seen."""

_STEPS_S: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
_MOST_TICKS: Final = 7


def timeline(section: Section) -> Drawing:
    """The picture; one row a track, the time axis on top."""
    rows = section.plan.tracks
    height = row_height(len(rows))
    bottom = _TOP + height * len(rows)
    axis = _Axis(section.duration_s)
    shapes: list[Shape] = [*_breaks(section, axis, bottom), *_ticks(section, axis, bottom)]
    by_track = _by_track(section)
    levels = _columns(section)
    for track_index, track in enumerate(rows):
        top = _TOP + track_index * height
        shapes += _row_incidents(by_track[track_index], axis, top, height)
        if len(levels):
            shapes += _level(levels[:, track_index], top, height)
        shapes += _row_bars(by_track[track_index], axis, top, height)
        name = words.track_name(track)
        size = min(9.5, height * 0.7)
        shapes.append(Words(LEFT - 6, top + height * 0.66, _cut(name, 23), size, INK, "end"))
        shapes.append(Path((((0.0, top + height), (WIDTH, top + height)),), stroke=LINE, width=0.5))
    shapes += _marks(section, axis, bottom)
    return Drawing(WIDTH, bottom + (14.0 if section.marks else 4.0), tuple(shapes), _title(section))


def row_height(tracks: int) -> float:
    """How high a track's row is, so that the whole picture leaves room for words."""
    steps = ((6, 40.0), (12, 28.0), (24, 22.0), (40, 15.0))
    return next((height for most, height in steps if tracks <= most), 11.0)


def legend() -> Drawing:
    """What the shapes of a timeline mean."""
    shapes: list[Shape] = []
    x = 0.0
    for ground, name in (
        (RED_GROUND, "red"),
        (RED, "no backup: no usable track"),
        (AMBER_GROUND, "amber"),
        (BREAK_GROUND, "not watched"),
    ):
        bar = Box(x, 6, 22, _BAR, ground)
        shapes.append(Box(x, 1, 22, 10, RED_GROUND if ground == RED else ground))
        if ground == BREAK_GROUND:
            shapes.append(hatched(Box(x, 1, 22, 10, ground), EDGE, 6.0))
        else:
            shapes += _bar(bar, uncovered=ground == RED, red=ground == RED_GROUND)
        shapes.append(Words(x + 27, 10, name, 9, DIM))
        x += 44 + 5.2 * len(name)
    shapes.append(Path((((x, 11), (x + 6, 3), (x + 12, 8), (x + 22, 11)),), fill=LEVEL))
    shapes.append(Words(x + 27, 10, "level (sample peak)", 9, DIM))
    x += 44 + 5.2 * 19
    shapes.append(_diamond(x + 5, 6))
    shapes.append(Words(x + 14, 10, "mark", 9, DIM))
    return Drawing(WIDTH, 13, tuple(shapes), "What the shapes mean")


class _Axis:
    """Time to the picture's own x."""

    def __init__(self, duration_s: float) -> None:
        self.duration_s = max(duration_s, 1e-3)

    def x(self, at_s: float) -> float:
        share = min(max(at_s / self.duration_s, 0.0), 1.0)
        return LEFT + share * (WIDTH - LEFT)

    def box(self, start_s: float, end_s: float, top: float, height: float, fill: str) -> Box:
        """A box from start to end, wide enough to be seen and within the picture."""
        x = self.x(start_s)
        width = max(self.x(end_s) - x, _LEAST_WIDTH)
        return Box(min(x, WIDTH - width), top, width, height, fill)


def _columns(section: Section) -> Levels:
    """Sample peak, dBFS, shape (columns, tracks): as many columns as the picture can show."""
    peak = section.history.sample_peak_dbfs
    step_s = section.history.step_s
    if not len(peak) or not section.duration_s:
        return np.zeros((0, peak.shape[1]))
    count = min(_MOST_COLUMNS, max(1, math.ceil(section.duration_s / step_s)))
    # Each second goes to the column its middle lies in; the highest of a column counts.
    column = np.minimum(
        ((np.arange(len(peak)) + 0.5) * step_s / section.duration_s * count).astype(int), count - 1
    )
    joined = np.full((count, peak.shape[1]), np.nan)
    for track_index in range(peak.shape[1]):
        np.fmax.at(joined[:, track_index], column, peak[:, track_index])
    return joined


def _level(peak_dbfs: Levels, top: float, height: float) -> Iterable[Path]:
    """The level as filled steps; nothing where nothing was measured."""
    room = height - _BAR - (_NUMBERS if height > 18 else 1.5)
    share = np.clip((peak_dbfs - _QUIETEST_DBFS) / -_QUIETEST_DBFS, 0.0, 1.0)
    base = top + height - _BAR
    width = (WIDTH - LEFT) / len(share)
    parts: list[tuple[Point, ...]] = []
    points: list[Point] = []
    for column, part in enumerate(share):
        x = LEFT + column * width
        if math.isnan(part):
            if points:
                parts.append((*points, (x, base)))
                points = []
            continue
        points = points or [(x, base)]
        y = base - float(part) * room
        if points[-1][1] == y and len(points) > 1:
            points[-1] = (x + width, y)
        else:
            points += [(x, y), (x + width, y)]
    if points:
        parts.append((*points, (WIDTH, base)))
    if parts:
        yield Path(tuple(parts), fill=LEVEL)


def _by_track(section: Section) -> list[list[Entry]]:
    """Incidents of each track, those of a receiver or the input on each of theirs; red last."""
    index_of = {track.input: track_index for track_index, track in enumerate(section.plan.tracks)}
    entries: list[list[Entry]] = [[] for _ in section.plan.tracks]
    for entry in sorted(section.entries, key=lambda e: (e.incident.uncovered, e.incident.severity)):
        incident = entry.incident
        own = incident.tracks if incident.track is None else (incident.track,)
        for number in own:
            if number in index_of:
                entries[index_of[number]].append(entry)
    return entries


def _row_incidents(
    entries: Sequence[Entry], axis: _Axis, top: float, height: float
) -> Iterable[Box]:
    for entry in entries:
        ground = RED_GROUND if entry.incident.severity is Severity.RED else AMBER_GROUND
        yield axis.box(entry.start_s, entry.end_s, top, height, ground)


def _row_bars(entries: Sequence[Entry], axis: _Axis, top: float, height: float) -> Iterable[Shape]:
    """The bar along the foot of a row, and the incidents' numbers where there is room."""
    taken = -math.inf
    for entry in entries:
        bar = axis.box(entry.start_s, entry.end_s, top + height - _BAR, _BAR, PAPER)
        red = entry.incident.severity is Severity.RED
        yield from _bar(bar, uncovered=entry.incident.uncovered, red=red)
    for entry in sorted(entries, key=lambda e: e.start_s):
        x = axis.x(entry.start_s) + 2.0
        number = str(entry.number)
        if x > taken and x + 5 * len(number) < WIDTH:
            yield Words(x, top + 8, number, 7.5, INK, bold=True)
            taken = x + 5 * len(number) + 2.0


def _bar(bar: Box, *, uncovered: bool, red: bool) -> list[Shape]:
    """Red is solid, uncovered red with a white cross-hatch, amber slanted lines."""
    solid = Box(bar.x, bar.y, bar.width, bar.height, RED)
    if uncovered:
        return [solid, hatched(bar, PAPER, 4.0, crossed=True), _frame(bar, RED)]
    if red:
        return [solid]
    ground = Box(bar.x, bar.y, bar.width, bar.height, AMBER_GROUND)
    return [ground, hatched(bar, AMBER, 3.0), _frame(bar, AMBER)]


def _frame(box: Box, colour: str) -> Path:
    x0, y0, x1, y1 = box.x, box.y, box.x + box.width, box.y + box.height
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))
    return Path((corners,), stroke=colour, width=0.7)


def _breaks(section: Section, axis: _Axis, bottom: float) -> Iterable[Shape]:
    for one in section.breaks:
        box = axis.box(one.start_s, one.end_s, _TOP, bottom - _TOP, BREAK_GROUND)
        yield box
        if one.lost:
            yield hatched(box, EDGE, 8.0)


def tick_times(section: Section, most: int = _MOST_TICKS) -> list[float]:
    """Moments with a round time of day (or of the take), at most `most`."""
    duration_s = section.duration_s
    step_s = next((s for s in _STEPS_S if duration_s / s <= most), _STEPS_S[-1])
    first = max(math.ceil(section.start_s / step_s - 1e-9) * step_s - section.start_s, 0.0)
    return [first + n * step_s for n in range(math.floor((duration_s - first) / step_s) + 1)]


def _ticks(section: Section, axis: _Axis, bottom: float) -> Iterable[Shape]:
    taken = -math.inf
    for at_s in tick_times(section):
        x = axis.x(at_s)
        yield Path((((x, _TOP - 4), (x, bottom)),), stroke=LINE, width=0.8)
        middle = min(max(x, LEFT + 24), WIDTH - 26)
        if middle - taken > 58:
            yield Words(middle, _TOP - 7, section.timecode(at_s), 8.5, DIM, "middle")
            taken = middle


def _diamond(x: float, y: float) -> Path:
    return Path((((x, y - 4), (x + 4, y), (x, y + 4), (x - 4, y)),), fill=COVER)


def _marks(section: Section, axis: _Axis, bottom: float) -> Iterable[Shape]:
    taken = -math.inf
    for mark in section.marks:
        x = axis.x(mark.at_s)
        yield Path((((x, _TOP), (x, bottom + 3)),), stroke=COVER, width=0.9, dashed=True)
        yield _diamond(x, bottom + 5)
        text = _cut(mark.text, 24)
        wide = 4.6 * len(text)
        if x + 7 > taken and x + wide + 7 < WIDTH:
            yield Words(x + 7, bottom + 9, text, 8, COVER)
            taken = x + wide + 12


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _title(section: Section) -> str:
    return (
        f"Level of {words.count(len(section.plan.tracks), 'track')} over "
        f"{words.length(section.duration_s)}, {words.count(len(section.entries), 'incident')}"
    )
