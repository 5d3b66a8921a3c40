"""The drawn board: text and frames, ribbons, bars, numbers. Draws what it is given."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import ceil, floor

import numpy as np
from PySide6.QtCore import QPoint, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPen, QPixmap, QRegion

from app.models.board_rows import Group, GroupState, RowState
from app.style import state_shapes, theme, wording
from app.style.theme import Look
from app.views.board import row_text
from app.views.board.board_layout import Box, GroupBoxes, Layout, RowBoxes
from app.views.board.level_picture import LevelPicture, Levels, bar_rect
from app.views.board.row_text import Fonts, Text
from app.views.board.strip_picture import Strips
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
        self._ribbon_h = max(6, layout.row_h - (6 if layout.dense else 8))
        self._ribbons: Strips | None = None
        if layout.rows:
            wide = layout.rows[0].ribbon.w
            self._ribbons = Strips(self.track_indices, wide, self._ribbon_h, look)
        self.levels = LevelPicture(layout, fonts, look, ratio)

    def shifted(self, box: Box) -> QRect:
        """The box in the widget's own coordinates."""
        return rect(box).translated(self.offset)

    def draw(self, scene: Scene, groups: Sequence[GroupBoxes]) -> None:
        """Draw these groups anew into the base."""
        painter = QPainter(self.base)
        painter.translate(self.offset)
        for group in groups:
            self._draw_group(painter, group, scene, group.track_indices)
        painter.end()

    def draw_states(self, scene: Scene, track_indices: Collection[int]) -> list[QRect]:
        """Draw only the state cells of these tracks anew into the base; returns where they are, in
        the widget's own coordinates."""
        drawn = []
        painter = QPainter(self.base)
        painter.translate(self.offset)
        for group in self.layout.groups:
            some = [t for t in group.track_indices if t in track_indices]
            if not some:
                continue
            cells = [self._rows[track_index].state for track_index in some]
            region = QRegion()
            for cell in cells:
                region += rect(cell)
            painter.setClipRegion(region)
            self._draw_group(painter, group, scene, some, whole=False)
            drawn += [self.shifted(cell) for cell in cells]
        painter.end()
        return drawn

    def draw_folded(self, scene: Scene, line: QRect) -> None:
        """Name the tracks folded away."""
        painter = QPainter(self.base)
        painter.setFont(theme.font(12 * self.fonts.scale))
        painter.setPen(QColor(self.look.dim))
        words = f"Hidden, unused: {wording.numbers(scene.folded)}"
        painter.drawText(line, Qt.AlignmentFlag.AlignVCenter, words)
        painter.end()

    def _draw_group(
        self,
        painter: QPainter,
        group: GroupBoxes,
        scene: Scene,
        track_indices: Sequence[int],
        whole: bool = True,
    ) -> None:
        """Frame, heading and those rows; not `whole`: of each row its state cell alone."""
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
        for track_index in track_indices:
            last = track_index == group.track_indices[-1]
            self._draw_row(painter, self._rows[track_index], scene, last, whole)
        if state.uncovered:
            painter.setPen(QPen(QColor(look.alarm), HEAVY_PX))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(frame.adjusted(1, 1, -1, -1))
        if group.heading.w:
            x = group.heading.right
            painter.fillRect(x, frame.y() + 1, 1, frame.height() - 2, QColor(look.line))
        if whole:
            self._write(painter, row_text.heading_texts(group, name, state, self.fonts, look))

    def _draw_row(
        self, painter: QPainter, boxes: RowBoxes, scene: Scene, last: bool, whole: bool
    ) -> None:
        look, fonts, state = self.look, self.fonts, scene.states[boxes.track_index]
        if state.severity is not None:
            ground = rect(boxes.state).adjusted(0, 1, -2, -1 - int(last))
            self._draw_ground(painter, ground, state)
        if not last:
            line = QRect(boxes.row.x, boxes.row.bottom - 1, boxes.row.w - 1, 1)
            painter.fillRect(line, QColor(look.line))
        colour = row_text.state_colour(state, look)
        state_shapes.draw(painter, state.mark, row_text.mark_box(boxes, fonts), colour)
        self._write(painter, row_text.state_texts(boxes, state, fonts, look))
        if whole:
            self._draw_name(painter, boxes, scene)
            self._draw_scale(painter, boxes)
            self._blit_ribbon(painter, boxes)

    def _draw_name(self, painter: QPainter, boxes: RowBoxes, scene: Scene) -> None:
        """Number and name, with the marks of a track that is chosen or in the headphones."""
        look, fonts = self.look, self.fonts
        track, state = scene.plan.tracks[boxes.track_index], scene.states[boxes.track_index]
        if track.input in scene.chosen:
            wide = max(3, round(3 * fonts.scale))
            mark = QRect(boxes.row.x + 1, boxes.row.y + 2, wide, boxes.row.h - 4)
            painter.fillRect(mark, QColor(look.ink))
        texts = row_text.name_texts(boxes, track, state, fonts, look)
        if track.input == scene.listened:
            row = boxes.number
            painter.fillRect(QRect(row.x + 5, row.y + 3, row.w - 6, row.h - 7), QColor(look.cover))
            texts[0] = replace(texts[0], colour=look.bg)
        self._write(painter, texts)

    def _draw_scale(self, painter: QPainter, boxes: RowBoxes) -> None:
        """The lines that the level bar is read against."""
        bar = bar_rect(boxes, self.fonts.scale)
        for k in range(6):
            x = bar.x() + round(bar.width() * k / 5) - (k == 5)
            painter.fillRect(x, bar.y(), 1, bar.height(), QColor(self.look.line))

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

    def draw_ribbons(self, ribbon: LevelStrip, marks_s: Sequence[float] = ()) -> list[QRect]:
        """Bring all ribbons in the base up to date, with the marks of the crew at those times;
        returns what was drawn anew, in the widget's own coordinates."""
        if self._ribbons is None:
            return []
        drawn = self._ribbons.draw(ribbon, marks_s)
        if not drawn:
            return []
        painter = QPainter(self.base)
        painter.translate(self.offset)
        for boxes in self.layout.rows:
            self._blit_ribbon(painter, boxes, drawn)
        painter.end()
        return [
            self.shifted(Box(head.ribbon.x + drawn.start, strip.y, len(drawn), strip.h))
            for head, strip in zip(self._heads(), self.layout.strips, strict=True)
        ]

    def _blit_ribbon(self, painter: QPainter, boxes: RowBoxes, part: range | None = None) -> None:
        """One row's ribbon, or some columns of its pixels."""
        if self._ribbons is None or not self._ribbons.drawn:
            return
        image, high = self._ribbons.image, self._ribbon_h
        start, wide = (0, image.width()) if part is None else (part.start, len(part))
        x, top = boxes.ribbon.x + start, boxes.ribbon.y + (boxes.ribbon.h - high) // 2
        painter.drawImage(x, top, image, start, self._at[boxes.track_index] * high, wide, high)

    # What is painted with each snapshot

    def paint(self, painter: QPainter, dirty: Sequence[QRect], levels: Levels | None) -> None:
        """Copy the base where dirty, then the bars and numbers over it."""
        ratio = self.base.devicePixelRatio()
        for part in dirty:
            if ratio == 1.0:
                painter.drawPixmap(part, self.base, part)
                continue
            # Whole pixels of the screen, for a part of one would be drawn blurred.
            left, top = floor(part.x() * ratio), floor(part.y() * ratio)
            wide = ceil((part.x() + part.width()) * ratio) - left
            high = ceil((part.y() + part.height()) * ratio) - top
            place = QRectF(left / ratio, top / ratio, wide / ratio, high / ratio)
            painter.drawPixmap(place, self.base, QRectF(left, top, wide, high))
        if levels is None:
            return
        painter.save()
        painter.translate(self.offset)
        self.levels.paint(painter, levels)
        painter.restore()
