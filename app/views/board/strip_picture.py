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


def _put_marks(
    paper: NDArray[np.uint32], ribbon: LevelStrip, marks_s: Sequence[float], look: Look
) -> None:
    """A line of two pixels at each mark that lies within the ribbon."""
    length_s = RIBBON_COLUMNS * RIBBON_STEP_S
    for at_s in marks_s:
        share = 1.0 - (ribbon.end_s - at_s) / length_s
        if 0.0 <= share < 1.0:
            at = int(share * len(paper))
            paper[at : at + 2] = _rgb(look.cover)


def bin_of(width: int) -> int:
    """Ribbon columns that one bar of a ribbon that wide stands for."""
    least = GAPPED_PX if width >= RIBBON_COLUMNS / 2 else 1
    return next(n for n in range(1, RIBBON_COLUMNS + 1) if _fits(n, width, least))


def _fits(each: int, width: int, least: int) -> bool:
    bars = RIBBON_COLUMNS // each
    return RIBBON_COLUMNS % each == 0 and (width >= bars * least or bars == 1)


def draw(
    ribbon: LevelStrip,
    track_indices: NDArray[np.intp],
    width: int,
    height: int,
    look: Look,
    marks_s: Sequence[float] = (),
) -> QImage:
    """The ribbons of those rows below each other, each `width` × `height` pixels.

    `marks_s` are times, s, at which the crew dropped a mark.
    """
    level, worst = pooled(ribbon, track_indices, bin_of(width))
    bars, rows = level.shape
    share = np.clip((level - LOWEST_DBFS) / -LOWEST_DBFS, 0.0, 1.0)
    # Coloured bars never get so thin that their colour is missed.
    thinnest = np.where(worst > 0, max(3.0, height / 12), max(1.0, height / 24))
    tall = np.maximum(np.rint(share * (height - 2)), np.where(level > FLOOR_DB, thinnest, 0.0))
    tall = np.where((level <= FLOOR_DB) & (worst > 0), thinnest, tall)
    at = np.arange(width) * bars // width
    last = np.append(np.diff(at) > 0, True) & (width >= bars * GAPPED_PX)
    # Twice the distance from the row's middle, so that whole numbers hold for odd heights too.
    off = np.abs(2 * np.arange(height) - (height - 1))
    shown = ~last | (worst.T[:, at] > 0)
    lit = (off[None, :, None] < tall.T[:, None, at]) & shown[:, None, :]
    colours = np.full(int(max(Severity)) + 1, _rgb(look.ribbon), dtype=np.uint32)
    for severity in Severity:
        colours[severity] = _rgb(look.colour(severity))
    paper = np.full(width, _rgb(look.panel), dtype=np.uint32)
    paper[[round(width * n / GRID_LINES) for n in range(1, GRID_LINES)]] = _rgb(look.line)
    _put_marks(paper, ribbon, marks_s, look)
    pixels = np.where(lit, colours[worst].T[:, at][:, None, :], paper)
    flat = np.ascontiguousarray(pixels.reshape(rows * height, width))
    image = QImage(flat.data, width, rows * height, width * 4, QImage.Format.Format_RGB32)
    return image.copy()
