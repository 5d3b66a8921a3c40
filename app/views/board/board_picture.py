"""The drawn board: text and frames, ribbons, bars, numbers. Draws what it is given."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from PySide6.QtCore import QPoint, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QImage, QPainter, QPen, QPixmap

from app.models.board_rows import Group, GroupState, RowState
from app.style import state_shapes, theme, wording
from app.style.theme import Look
from app.views.board import row_text
from app.views.board import strip_picture as ribbons
from app.views.board.board_layout import Box, GroupBoxes, Layout, RowBoxes
from app.views.board.row_text import Fonts, Text
from engine.model.messages import Severity
from engine.model.snapshot import LevelStrip
from engine.model.tracks import Plan

SCALE_PX = 10
HEAVY_PX = 4
"""Frame of a group that has no backup left."""


def rect(box: Box) -> QRect:
    """The same box as Qt has it."""
    return QRect(box.x, box.y, box.w, box.h)


@dataclass(frozen=True, slots=True)
class Scene:
    """What the board shows besides levels; `listened` is the input in the headphones."""

    plan: Plan
    groups: tuple[Group, ...]
    states: tuple[RowState, ...]
    group_states: Mapping[str, GroupState] = field(default_factory=dict)
    chosen: frozenset[int] = frozenset()
    folded: tuple[int, ...] = ()
    listened: int | None = None


@dataclass(frozen=True, slots=True)
class Levels:
    """Bars in pixels and numbers as words, in the order of the layout's rows."""

    fill: list[int]
    hold: list[int]
    words: list[str]


class BoardPicture:
    """One board at one size in one look; `base` holds all but bars and numbers."""

    def __init__(
        self, layout: Layout, fonts: Fonts, look: Look, size: QSize, ratio: float, offset: QPoint
    ) -> None:
        self.layout, self.fonts, self.look, self.offset = layout, fonts, look, offset
        self.track_indices = np.array([row.track_index for row in layout.rows], dtype=np.intp)
        self.base = QPixmap(size * ratio)
        self.base.setDevicePixelRatio(ratio)
        self.base.fill(QColor(look.bg))
        self._rows = {row.track_index: row for row in layout.rows}
        self._at = {row.track_index: at for at, row in enumerate(layout.rows)}
        self._ribbons: QImage | None = None
        self._digits: dict[str, QPixmap] = {}

    def shifted(self, box: Box) -> QRect:
        """The box in the widget's own coordinates."""
        return rect(box).translated(self.offset)

    def draw(self, scene: Scene, groups: Sequence[GroupBoxes]) -> None:
        """Draw these groups anew into the base."""
        painter = QPainter(self.base)
        painter.translate(self.offset)
        for group in groups:
            self._draw_group(painter, group, scene)
        painter.end()

    def draw_folded(self, scene: Scene, line: QRect) -> None:
        """Name the tracks folded away."""
        painter = QPainter(self.base)
        painter.setFont(theme.font(12 * self.fonts.scale))
        painter.setPen(QColor(self.look.dim))
        words = f"Hidden, unused: {wording.numbers(scene.folded)}"
        painter.drawText(line, Qt.AlignmentFlag.AlignVCenter, words)
        painter.end()

    def _draw_group(self, painter: QPainter, group: GroupBoxes, scene: Scene) -> None:
        frame, look = rect(group.frame), self.look
        name = scene.groups[group.index].name
        state = scene.group_states.get(name, GroupState())
        painter.fillRect(frame.adjusted(-2, -2, 2, 2), QColor(look.bg))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(look.line), 1))
        painter.setBrush(QColor(look.panel))
        painter.drawRoundedRect(QRectF(frame).adjusted(0.5, 0.5, -0.5, -0.5), 6, 6)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        if state.uncovered:
            painter.fillRect(rect(group.heading).adjusted(2, 2, 0, -2), QColor(look.alarm))
        for track_index in group.track_indices:
            self._draw_row(
                painter, self._rows[track_index], scene, last=track_index == group.track_indices[-1]
            )
        if state.uncovered:
            painter.setPen(QPen(QColor(look.alarm), HEAVY_PX))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(frame.adjusted(1, 1, -1, -1))
        if group.heading.w:
            x = group.heading.right
            painter.fillRect(x, frame.y() + 1, 1, frame.height() - 2, QColor(look.line))
        self._write(painter, row_text.heading_texts(group, name, state, self.fonts, look))

    def _draw_row(self, painter: QPainter, boxes: RowBoxes, scene: Scene, last: bool) -> None:
        look, fonts = self.look, self.fonts
        track, state = scene.plan.tracks[boxes.track_index], scene.states[boxes.track_index]
        if state.severity is not None:
            ground = rect(boxes.state).adjusted(0, 1, -2, -1 - int(last))
            self._draw_ground(painter, ground, state)
        if not last:
            line = QRect(boxes.row.x, boxes.row.bottom - 1, boxes.row.w - 1, 1)
            painter.fillRect(line, QColor(look.line))
        if track.input in scene.chosen:
            wide = max(3, round(3 * fonts.scale))
            mark = QRect(boxes.row.x + 1, boxes.row.y + 2, wide, boxes.row.h - 4)
            painter.fillRect(mark, QColor(look.ink))
        if track.input == scene.listened:
            row = boxes.number
            painter.fillRect(QRect(row.x + 5, row.y + 3, row.w - 6, row.h - 7), QColor(look.cover))
        bar = self.bar_rect(boxes)
        for k in range(6):
            x = bar.x() + round(bar.width() * k / 5) - (k == 5)
            painter.fillRect(x, bar.y(), 1, bar.height(), QColor(look.line))
        colour = row_text.state_colour(state, look)
        state_shapes.draw(painter, state.mark, row_text.mark_box(boxes, fonts), colour)
        texts = row_text.name_texts(boxes, track, state, fonts, look)
        if track.input == scene.listened:
            texts[0] = replace(texts[0], colour=look.bg)
        self._write(painter, texts)
        self._write(painter, row_text.state_texts(boxes, state, fonts, look))
        self._blit_ribbon(painter, boxes)

    def _draw_ground(self, painter: QPainter, box: QRect, state: RowState) -> None:
        """What a fault stands on: a red is a field, an amber an outline."""
        look = self.look
        if state.severity is Severity.RED:
            painter.fillRect(box, QColor(look.alarm if state.unseen else look.red_bg))
            return
        painter.setPen(QPen(QColor(look.amber), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(box.adjusted(1, 1, -1, -1))

    @staticmethod
    def _write(painter: QPainter, texts: Sequence[Text]) -> None:
        for item in texts:
            painter.setFont(item.font)
            painter.setPen(QColor(item.colour))
            painter.drawText(item.box, item.align, item.words)

    def bar_rect(self, boxes: RowBoxes) -> QRect:
        """The level bar inside its cell."""
        high = min(round(14 * self.fonts.scale), round(boxes.row.h * 0.5))
        return QRect(boxes.bar.x, boxes.bar.y + (boxes.bar.h - high) // 2, boxes.bar.w, high)

    def draw_scales(self) -> None:
        """Over each column of rows: minutes of the ribbons, dB of the bars, unit of the numbers."""
        font = theme.font(SCALE_PX * self.fonts.scale)
        high = QFontMetrics(font).height()
        painter = QPainter(self.base)
        painter.setFont(font)
        painter.setPen(QColor(self.look.dim))
        for boxes in self._heads():
            y = self.offset.y() - high
            left, middle, right = (
                Qt.AlignmentFlag.AlignLeft,
                Qt.AlignmentFlag.AlignHCenter,
                Qt.AlignmentFlag.AlignRight,
            )
            cells = [
                (boxes.ribbon, (("−2 min", left), ("−1 min", middle), ("now", right))),
                (boxes.bar, (("  −60", left), ("0 dB", right))),
                (boxes.level, (("LUFS", right),)),
            ]
            for box, words in cells:
                if not box.w:
                    continue
                room = QRect(box.x + self.offset.x() - 2, y, box.w + 4, high)
                fits = next(
                    some
                    for some in (words, (words[0], words[-1]), words[-1:], ())
                    if sum(row_text.advance(font, t) + 10 for t, _ in some) <= room.width()
                )
                for text, align in fits:
                    painter.drawText(room, align | Qt.TextFlag.TextDontClip, text)
        painter.end()

    def _heads(self) -> list[RowBoxes]:
        """The first row of each column."""
        first: dict[int, RowBoxes] = {}
        for boxes in self.layout.rows:
            first.setdefault(boxes.number.x, boxes)
        return list(first.values())

    # Ribbons

    def _ribbon_height(self) -> int:
        return max(6, self.layout.row_h - (6 if self.layout.dense else 8))

    def draw_ribbons(self, ribbon: LevelStrip, marks_s: Sequence[float] = ()) -> None:
        """Draw all ribbons anew into the base, with the marks of the crew at those times."""
        lay = self.layout
        if not lay.rows:
            return
        self._ribbons = ribbons.draw(
            ribbon,
            self.track_indices,
            lay.rows[0].ribbon.w,
            self._ribbon_height(),
            self.look,
            marks_s,
        )
        painter = QPainter(self.base)
        painter.translate(self.offset)
        for boxes in lay.rows:
            self._blit_ribbon(painter, boxes)
        painter.end()

    def _blit_ribbon(self, painter: QPainter, boxes: RowBoxes) -> None:
        if self._ribbons is None:
            return
        high = self._ribbon_height()
        top = boxes.ribbon.y + (boxes.ribbon.h - high) // 2
        part = QRect(0, self._at[boxes.track_index] * high, self._ribbons.width(), high)
        painter.drawImage(QPoint(boxes.ribbon.x, top), self._ribbons, part)

    # What is painted with each snapshot

    def paint(self, painter: QPainter, dirty: Sequence[QRect], levels: Levels | None) -> None:
        """Copy the base where dirty, then the bars and numbers over it."""
        ratio = self.base.devicePixelRatio()
        for part in dirty:
            size = QSize(round(part.width() * ratio), round(part.height() * ratio))
            source = QRect(QPoint(round(part.x() * ratio), round(part.y() * ratio)), size)
            painter.drawPixmap(part, self.base, source)
        if levels is None:
            return
        painter.save()
        painter.translate(self.offset)
        self._paint_levels(painter, levels)
        painter.restore()

    def _paint_levels(self, painter: QPainter, levels: Levels) -> None:
        bar_colour, ink = QColor(self.look.bar), QColor(self.look.ink)
        rows = zip(self.layout.rows, levels.fill, levels.hold, levels.words, strict=True)
        for boxes, fill, hold, words in rows:
            bar = self.bar_rect(boxes)
            x, y, high = bar.x(), bar.y(), bar.height()
            if fill:
                painter.fillRect(x, y + 2, fill, high - 4, bar_colour)
            painter.fillRect(x + min(hold, bar.width() - 2), y, 2, high, ink)
            if not boxes.level.w:
                continue
            digits = self._number(words)
            wide, tall = digits.deviceIndependentSize().toSize().toTuple()
            level = boxes.level
            painter.drawPixmap(level.right - wide, level.y + (level.h - tall) // 2, digits)

    def _number(self, words: str) -> QPixmap:
        """The number as a picture, drawn once: writing text is the dearest part of a frame."""
        if words not in self._digits:
            metrics = QFontMetrics(self.fonts.level)
            ratio = self.base.devicePixelRatio()
            size = QSize(metrics.horizontalAdvance(words) + 2, metrics.height())
            pixmap = QPixmap(size * ratio)
            pixmap.setDevicePixelRatio(ratio)
            pixmap.fill(QColor(self.look.panel))
            painter = QPainter(pixmap)
            painter.setFont(self.fonts.level)
            painter.setPen(QColor(self.look.ink))
            painter.drawText(QRect(QPoint(0, 0), size), Qt.AlignmentFlag.AlignRight, words)
            painter.end()
            self._digits[words] = pixmap
        return self._digits[words]
