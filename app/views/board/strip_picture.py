"""The two-minute ribbons of all rows as one image. Only numpy and QImage: no widget."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QColor, QImage

from app.style.theme import Look
from engine.model.messages import Severity
from engine.model.snapshot import RIBBON_COLUMNS, RIBBON_STEP_S, LevelStrip
from engine.model.units import FLOOR_DB

LOWEST_DBFS = -66.0
"""Level at which a ribbon bar is at its thinnest."""
GRID_LINES = 4
GAPPED_PX = 3
"""Bars at least this wide have a gap of one pixel between them."""


def _rgb(colour: str) -> int:
    return int(QColor(colour).rgb())


def pooled(
    ribbon: LevelStrip, track_indices: NDArray[np.intp], each: int
) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """Loudest level and worst severity of every `each` ribbon columns, shape (bars, rows).

    The bins stand still on the stream's own time, so that a bar keeps its height as it moves
    along; the newest bin fills up.
    """
    last = math.ceil(ribbon.end_s / RIBBON_STEP_S - 1e-6)
    bars = RIBBON_COLUMNS // each
    newest = (last - 1) % each + 1
    take = (bars - 1) * each + newest
    level = np.full((bars * each, len(track_indices)), FLOOR_DB, dtype=np.float32)
    worst = np.zeros((bars * each, len(track_indices)), dtype=np.uint8)
    have = min(take, len(ribbon.level_dbfs))
    level[take - have : take] = ribbon.level_dbfs[-have:, track_indices]
    worst[take - have : take] = ribbon.severity[-have:, track_indices]
    shape = (bars, each, len(track_indices))
    return level.reshape(shape).max(axis=1), worst.reshape(shape).max(axis=1)


def _mark_pixels(ribbon: LevelStrip, marks_s: Sequence[float], width: int) -> list[int]:
    """Where each mark within the ribbon stands."""
    length_s = RIBBON_COLUMNS * RIBBON_STEP_S
    shares = (1.0 - (ribbon.end_s - at_s) / length_s for at_s in marks_s)
    return [int(share * width) for share in shares if 0.0 <= share < 1.0]


def bin_of(width: int) -> int:
    """Ribbon columns that one bar of a ribbon that wide stands for."""
    least = GAPPED_PX if width >= RIBBON_COLUMNS / 2 else 1
    return next(n for n in range(1, RIBBON_COLUMNS + 1) if _fits(n, width, least))


def _fits(each: int, width: int, least: int) -> bool:
    bars = RIBBON_COLUMNS // each
    return RIBBON_COLUMNS % each == 0 and (width >= bars * least or bars == 1)


class Strips:
    """The ribbons of some rows below each other, each `width` × `height` pixels.

    A bar stands still until the next one begins: between two pictures mostly the newest differs,
    and only that is drawn anew.
    """

    def __init__(
        self, track_indices: NDArray[np.intp], width: int, height: int, look: Look
    ) -> None:
        self._track_indices, self._width, self._height = track_indices, width, height
        self._each = bin_of(width)
        bars = RIBBON_COLUMNS // self._each
        self._bar_at = np.arange(width) * bars // width
        last = np.append(np.diff(self._bar_at) > 0, True)
        self._gaps = last & (width >= bars * GAPPED_PX)
        # Twice the distance from the row's middle, so that whole numbers hold for odd heights too.
        self._off = np.abs(2 * np.arange(height) - (height - 1))
        self._colours = np.full(int(max(Severity)) + 1, _rgb(look.ribbon), dtype=np.uint32)
        for severity in Severity:
            self._colours[severity] = _rgb(look.colour(severity))
        self._mark_colour = _rgb(look.cover)
        self._ground = np.full(width, _rgb(look.panel), dtype=np.uint32)
        self._ground[[round(width * n / GRID_LINES) for n in range(1, GRID_LINES)]] = _rgb(
            look.line
        )
        self._pixels = np.empty((len(track_indices), height, width), dtype=np.uint32)
        self._drawn: tuple[NDArray[np.float32], NDArray[np.uint8], list[int]] | None = None
        self.image = QImage(
            self._pixels.data,
            width,
            len(track_indices) * height,
            width * 4,
            QImage.Format.Format_RGB32,
        )

    @property
    def drawn(self) -> bool:
        """The image shows something."""
        return self._drawn is not None

    def draw(self, ribbon: LevelStrip, marks_s: Sequence[float] = ()) -> range:
        """Bring the image up to date; returns which columns of its pixels were drawn anew.

        `marks_s` are times, s, at which the crew dropped a mark.
        """
        level, worst = pooled(ribbon, self._track_indices, self._each)
        marks = _mark_pixels(ribbon, marks_s, self._width)
        before, self._drawn = self._drawn, (level, worst, marks)
        if before is None or before[2] != marks:
            changed = range(self._width)
        else:
            differs = ((level != before[0]) | (worst != before[1])).any(axis=1)
            at = np.flatnonzero(differs[self._bar_at])
            changed = range(at[0], at[-1] + 1) if len(at) else range(0)
        if changed:
            self._put(level, worst, marks, changed)
        return changed

    def _put(
        self, level: NDArray[np.float32], worst: NDArray[np.uint8], marks: list[int], to: range
    ) -> None:
        """Draw those columns of pixels."""
        part, height = slice(to.start, to.stop), self._height
        at = self._bar_at[part]
        bars, at = slice(at[0], at[-1] + 1), at - at[0]
        level, worst = level[bars], worst[bars]
        share = np.clip((level - LOWEST_DBFS) / -LOWEST_DBFS, 0.0, 1.0)
        # Coloured bars never get so thin that their colour is missed.
        thinnest = np.where(worst > 0, max(3.0, height / 12), max(1.0, height / 24))
        quietest = np.where(level > FLOOR_DB, thinnest, 0.0)
        tall = np.maximum(np.rint(share * (height - 2)), quietest)
        tall = np.where((level <= FLOOR_DB) & (worst > 0), thinnest, tall)
        shown = ~self._gaps[part] | (worst.T[:, at] > 0)
        lit = (self._off[None, :, None] < tall.T[:, None, at]) & shown[:, None, :]
        paper = self._ground.copy()
        for mark in marks:
            paper[mark : mark + 2] = self._mark_colour
        colours = self._colours[worst].T[:, at][:, None, :]
        self._pixels[:, :, part] = np.where(lit, colours, paper[part])
