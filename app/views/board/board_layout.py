"""Where everything on the board stands, in whole pixels. Pure numbers; no Qt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

TWO_LINES_PX: Final = 31
"""Rows at least this high (times the scale) hold two lines of text, and one column of rows is
enough; where they would be lower, the board takes two columns."""
HIGHEST_ROW_PX: Final = 66
LOWEST_ROW_PX: Final = 12
ONE_LINE_PX: Final = 24
"""Rows at least this high (times the scale) stand in one column with one line of text, where two
lines have no room: a strip that one can read is worth more than a larger word."""
RIBBON_PX: Final = 110
"""A strip of two minutes that is narrower (times the scale) tells little: others give way."""
RIBBON_OVER_NAME_PX: Final = 80
"""Names are cut only for a strip that is narrower than this (times the scale)."""
LEAST_RIBBON_PX: Final = 40
LEAST_PICTURE_PX: Final = 24
"""Ribbon and bar in a board that is too narrow for its font."""
MOST_RIBBON_PX: Final = 900


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle."""

    x: int
    y: int
    w: int
    h: int

    @property
    def right(self) -> int:
        """First pixel to the right of it."""
        return self.x + self.w

    @property
    def bottom(self) -> int:
        """First pixel below it."""
        return self.y + self.h


@dataclass(frozen=True, slots=True)
class RowBoxes:
    """Cells of one row; `track_index` is the index into the plan's tracks."""

    track_index: int
    row: Box
    number: Box
    name: Box
    ribbon: Box
    bar: Box
    level: Box
    state: Box


@dataclass(frozen=True, slots=True)
class GroupBoxes:
    """Frame and heading of a group; a group cut in two by a column's end has two of these."""

    index: int
    frame: Box
    heading: Box
    track_indices: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """The whole board; `dense` rows have one line of text."""

    rows: tuple[RowBoxes, ...]
    groups: tuple[GroupBoxes, ...]
    row_h: int
    columns: int
    dense: bool
    strips: tuple[Box, ...]


@dataclass(frozen=True, slots=True)
class Widths:
    """Widths the text asks for, in pixels, at the font in use; `name_least` and `state_least` are
    what a name that is cut, and the longest word of a fault alone, can do with."""

    heading: int
    number: int
    name: int
    level: int
    state: int
    name_least: int = 0
    state_least: int = 0


Ask = Callable[[int, bool, int], Widths]
Dealt = Sequence[Sequence[tuple[int, int, int]]]
"""For each column its groups as (group, first row, rows)."""


@dataclass(frozen=True, slots=True)
class _Columns:
    """One way to lay the board out; `free` is the strip's width, less than nothing where the text
    does not fit."""

    dealt: Dealt
    column_w: int
    between: int
    gap: int
    row_h: int
    scale: float
    widths: Widths
    dense: bool
    free: int


def split(sizes: Sequence[int], columns: int) -> tuple[tuple[tuple[int, int, int], ...], ...]:
    """Groups dealt to columns as (group, first row, rows); a group is cut only where it must be."""
    total = sum(sizes)
    target = -(-total // columns)
    dealt: list[list[tuple[int, int, int]]] = [[] for _ in range(columns)]
    column, filled = 0, 0
    for index, size in enumerate(sizes):
        start = 0
        while start < size:
            room = target - filled
            last = column == columns - 1
            whole = size - start
            # A small group that only just does not fit stays whole, on whichever side is nearer.
            if last or whole <= room or (size <= 4 and whole - room <= room):
                take = whole
            elif size <= 4:
                column, filled = column + 1, 0
                continue
            else:
                take = room
            if take > 0:
                dealt[column].append((index, start, take))
            start, filled = start + take, filled + take
            if filled >= target and not last:
                column, filled = column + 1, 0
    return tuple(tuple(part) for part in dealt)


def _row_height(dealt: Dealt, height: int, gap: int) -> int:
    return min(
        (height - gap * max(0, len(part) - 1)) // max(1, sum(rows for _, _, rows in part))
        for part in dealt
        if part
    )


def give_way(w: Widths, row_w: int, scale: float, dense: bool) -> Widths:
    """The widths where a strip that can be read has room: first what stands beside the word of a
    state gives way, then the loudness number, which the bar shows too, last the rest of the name.

    row_w : width of a row without its group's heading
    """
    lacking = round(RIBBON_PX * scale) - _free(w, row_w, scale, dense)
    if lacking <= 0:
        return w
    off_state = min(lacking, max(0, w.state - (w.state_least or w.state)))
    lacking -= off_state
    level = 0 if lacking > 0 else w.level
    lacking -= w.level - level + round((RIBBON_PX - RIBBON_OVER_NAME_PX) * scale)
    off_name = min(max(lacking, 0), max(0, w.name - (w.name_least or w.name)))
    return replace(w, state=w.state - off_state, name=w.name - off_name, level=level)


def _free(w: Widths, row_w: int, scale: float, dense: bool) -> int:
    """What number, name, bar, level and state leave to the strip."""
    pad = round((4 if dense else 6) * scale)
    bar_w = max(36, round(row_w * 0.115))
    return row_w - w.number - w.name - bar_w - w.level - w.state - 4 * pad


def _cells(box: Box, track_index: int, w: Widths, scale: float, dense: bool) -> RowBoxes:
    """Cells of one row; the ribbon takes what the others leave."""
    pad = round((4 if dense else 6) * scale)
    bar_w = max(36, round(box.w * 0.115))
    free = _free(w, box.w, scale, dense)
    ribbon_w = min(max(LEAST_RIBBON_PX, free), round(MOST_RIBBON_PX * scale))
    name_w = w.name + max(0, free - ribbon_w)
    # Where a wide font leaves no room the pictures give way first, then the name: never the state.
    lacking = max(0, ribbon_w - free)
    for_bar = min(lacking, bar_w - LEAST_PICTURE_PX)
    for_ribbon = min(lacking - for_bar, ribbon_w - LEAST_PICTURE_PX)
    bar_w, ribbon_w = bar_w - for_bar, ribbon_w - for_ribbon
    name_w -= lacking - for_bar - for_ribbon
    x = box.x + w.number
    spots = []
    for width, before in ((name_w, 0), (ribbon_w, pad), (bar_w, pad), (w.level, pad)):
        spots.append(Box(x + before, box.y, width, box.h))
        x += before + width
    state = Box(x + pad, box.y, box.right - x - pad, box.h)
    number = Box(box.x, box.y, w.number, box.h)
    name, ribbon, bar, level = spots
    return RowBoxes(track_index, box, number, name, ribbon, bar, level, state)


def lay_out(
    groups: Sequence[Sequence[int]], width: int, height: int, scale: float, ask: Ask
) -> Layout:
    """Place every group and row in a board of that size.

    groups : the tracks (indices into the plan's tracks) of each group's rows
    ask : called with columns, dense and the row height; says the widths the text asks for
    """
    sizes = [len(g) for g in groups]
    gap = max(2, round(7 * scale))
    dealt = split(sizes, 1)
    row_h = _row_height(dealt, height, gap)
    dense = row_h < TWO_LINES_PX * scale
    made = _columns(dealt, width, gap, row_h, scale, ask, dense)
    if row_h < ONE_LINE_PX * scale:
        gap = max(2, round(5 * scale))
        dealt = split(sizes, 2)
        side_h = _row_height(dealt, height, gap)
        dense = side_h < TWO_LINES_PX * scale
        if dense:
            gap = max(2, round(3 * scale))
            side_h = _row_height(dealt, height, gap)
        beside = _columns(dealt, width, gap, side_h, scale, ask, dense)
        # Low rows with names say more than high ones without.
        if beside.free >= LEAST_RIBBON_PX or row_h < LOWEST_ROW_PX * scale:
            made = beside
    return _place(groups, made)


def _columns(
    dealt: Dealt, width: int, gap: int, row_h: int, scale: float, ask: Ask, dense: bool
) -> _Columns:
    """Those columns at that size, and what the text in them leaves to the strips."""
    row_h = max(LOWEST_ROW_PX, min(row_h, round(HIGHEST_ROW_PX * scale)))
    between = round(10 * scale) if len(dealt) == 2 else 0
    column_w = (width - between * (len(dealt) - 1)) // len(dealt)
    widths = ask(len(dealt), dense, row_h)
    row_w = column_w - widths.heading
    widths = give_way(widths, row_w, scale, dense)
    free = _free(widths, row_w, scale, dense)
    return _Columns(dealt, column_w, between, gap, row_h, scale, widths, dense, free)


def _place(groups: Sequence[Sequence[int]], made: _Columns) -> Layout:
    widths, row_h, column_w = made.widths, made.row_h, made.column_w
    rows: list[RowBoxes] = []
    frames: list[GroupBoxes] = []
    strips: list[Box] = []
    for column, part in enumerate(made.dealt):
        x, y = column * (column_w + made.between), 0
        for index, first, count in part:
            heading = Box(x, y, widths.heading, row_h * count)
            track_indices = tuple(groups[index][first : first + count])
            frames.append(
                GroupBoxes(index, Box(x, y, column_w, row_h * count), heading, track_indices)
            )
            for track_index in track_indices:
                box = Box(x + widths.heading, y, column_w - widths.heading, row_h)
                rows.append(_cells(box, track_index, widths, made.scale, made.dense))
                y += row_h
            y += made.gap
        if part:
            bar, level = rows[-1].bar, rows[-1].level
            strips.append(Box(bar.x, 0, level.right - bar.x, y - made.gap))
    columns = len(made.dealt)
    return Layout(tuple(rows), tuple(frames), row_h, columns, made.dense, tuple(strips))
