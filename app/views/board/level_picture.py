"""Bars and numbers of the board: what is painted with each snapshot, laid out once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPixmap

from app.style import wording
from app.style.theme import Look
from app.views.board.board_layout import Layout, RowBoxes
from app.views.board.row_text import Fonts
from engine.model.snapshot import Snapshot

QUIETEST_DBFS = -60.0
HOLD_PX = 2
_NO_LEVEL = -1000.0

_words = lru_cache(maxsize=256)(wording.level)


@dataclass(frozen=True, slots=True)
class Levels:
    """Bars in pixels and numbers as words, in the order of the layout's rows; no words where the
    numbers have no room."""

    fill: list[int]
    hold: list[int]
    words: list[str]


def bar_rect(boxes: RowBoxes, scale: float) -> QRect:
    """The level bar inside its cell."""
    high = min(round(14 * scale), round(boxes.row.h * 0.5))
    return QRect(boxes.bar.x, boxes.bar.y + (boxes.bar.h - high) // 2, boxes.bar.w, high)


class _Bar:
    """One row's bar. Each rectangle is made once: making them costs more than filling them."""

    def __init__(self, box: QRect) -> None:
        self._box = box
        self._fills: dict[int, QRect] = {}
        self._holds: dict[int, QRect] = {}

    def fill(self, wide: int) -> QRect:
        """What the level fills."""
        made = self._fills.get(wide)
        if made is None:
            box = self._box
            made = self._fills[wide] = QRect(box.x(), box.y() + 2, wide, box.height() - 4)
        return made

    def hold(self, at: int) -> QRect:
        """The line of the peak that is held."""
        made = self._holds.get(at)
        if made is None:
            box = self._box
            x = box.x() + min(at, box.width() - HOLD_PX)
            made = self._holds[at] = QRect(x, box.y(), HOLD_PX, box.height())
        return made


class LevelPicture:
    """The bars and numbers of one board at one size in one look."""

    def __init__(self, layout: Layout, fonts: Fonts, look: Look, ratio: float) -> None:
        rows = layout.rows
        self._track_indices = np.array([row.track_index for row in rows], dtype=np.intp)
        self._width = rows[0].bar.w if rows else 0
        self._bars = [_Bar(bar_rect(row, fonts.scale)) for row in rows]
        self._cells = [row.level for row in rows]
        self._numbered = bool(rows) and rows[0].level.w > 0
        self._font, self._look, self._ratio = fonts.level, look, ratio
        self._fill, self._ink = QColor(look.bar), QColor(look.ink)
        self._digits: dict[str, tuple[QPixmap, int, int]] = {}

    def levels_of(self, snapshot: Snapshot) -> Levels:
        """Levels as pixels and words, in the order of the rows."""
        if not self._bars:
            return Levels([], [], [])
        return Levels(
            self._pixels(snapshot.level_dbfs),
            self._pixels(snapshot.peak_hold_dbfs),
            self._numbers(snapshot.momentary_lufs),
        )

    def _pixels(self, levels: np.ndarray) -> list[int]:
        share = 1.0 - levels[self._track_indices] / QUIETEST_DBFS
        share = np.fmin(np.fmax(share, 0.0), 1.0)  # what is no number counts as nothing
        made: list[int] = np.rint(share * self._width).astype(int).tolist()
        return made

    def _numbers(self, levels: np.ndarray) -> list[str]:
        """Rounded first, so that few words are made, each once."""
        if not self._numbered:
            return []
        levels = levels[self._track_indices]
        shown = np.where(levels >= wording.QUIETEST_SHOWN_LUFS, np.rint(levels), _NO_LEVEL)
        return [_words(value) for value in shown.tolist()]

    def paint(self, painter: QPainter, levels: Levels) -> None:
        """The bars and numbers of all rows."""
        rows = list(zip(self._bars, levels.fill, levels.hold, strict=True))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._fill)
        painter.drawRects([bar.fill(wide) for bar, wide, _ in rows if wide])
        painter.setBrush(self._ink)
        painter.drawRects([bar.hold(at) for bar, _, at in rows])
        for cell, words in zip(self._cells, levels.words, strict=False):
            digits, wide, high = self._digits.get(words) or self._number(words)
            painter.drawPixmap(cell.right - wide, cell.y + (cell.h - high) // 2, digits)

    def _number(self, words: str) -> tuple[QPixmap, int, int]:
        """The number as a picture, drawn once: writing text is the dearest part of a frame."""
        metrics = QFontMetrics(self._font)
        size = QSize(metrics.horizontalAdvance(words) + 2, metrics.height())
        pixmap = QPixmap(size * self._ratio)
        pixmap.setDevicePixelRatio(self._ratio)
        pixmap.fill(QColor(self._look.panel))
        painter = QPainter(pixmap)
        painter.setFont(self._font)
        painter.setPen(self._ink)
        painter.drawText(QRect(QPoint(0, 0), size), Qt.AlignmentFlag.AlignRight, words)
        painter.end()
        wide, high = pixmap.deviceIndependentSize().toSize().toTuple()
        self._digits[words] = pixmap, wide, high
        return self._digits[words]
