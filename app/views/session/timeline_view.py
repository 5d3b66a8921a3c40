"""The time line of a session: the whole of it above, a part of it with every track below."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QMouseEvent, QPainter, QPaintEvent, QPen, QWheelEvent
from PySide6.QtWidgets import QWidget

from app.models.session_timeline import UNKNOWN_DBFS, SessionTimeline, pooled, tracks_of
from app.style import theme, wording
from app.style.theme import Look
from engine.model.messages import Incident, Severity

LOWEST_DBFS: Final = -66.0
LEAST_S: Final = 10.0
"""Nothing shorter fills the page: levels are kept once a second."""
ZOOM: Final = 1.25
NAMES_PX: Final = 150
WHOLE_PX: Final = 54
AXIS_PX: Final = 20
LEAST_NAME_PX: Final = 9.0
USUAL_PX: Final = 14
"""The letters of a page at the usual size: all else here is as much larger as they are."""
STEPS_S: Final = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200)


class TimelineView(QWidget):
    """Zooms by wheel, pans by drag. `moved` says that another moment was chosen."""

    moved = Signal(float)

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.setAccessibleName("Time line of all tracks")
        self.setMinimumHeight(240)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.timeline: SessionTimeline | None = None
        self.incidents: tuple[Incident, ...] = ()
        self.begin_s, self.end_s, self.at_s = 0.0, 1.0, 0.0
        self._drag: tuple[float, float] | None = None

    def show_timeline(self, timeline: SessionTimeline) -> None:
        """All of this session, at its begin."""
        self.timeline = timeline
        self.begin_s, self.end_s, self.at_s = 0.0, timeline.length_s, 0.0
        self.update()

    def show_incidents(self, incidents: Sequence[Incident]) -> None:
        """Mark these."""
        self.incidents = tuple(incidents)
        self.update()

    # How large it is drawn

    def _scaled(self, pixels: int) -> int:
        return round(pixels * self.fontInfo().pixelSize() / USUAL_PX)

    @property
    def _names_px(self) -> int:
        return self._scaled(NAMES_PX)

    @property
    def _whole_px(self) -> int:
        return self._scaled(WHOLE_PX)

    @property
    def _axis_px(self) -> int:
        return self._scaled(AXIS_PX)

    # Where one looks

    def go(self, at_s: float, span_s: float | None = None) -> None:
        """Look at that moment, in the middle; zoomed in to `span_s` where that is given."""
        if self.timeline is None:
            return
        length_s = self.timeline.length_s
        self.at_s = min(max(at_s, 0.0), length_s)
        span = (
            self.end_s - self.begin_s if span_s is None else min(span_s, self.end_s - self.begin_s)
        )
        span = min(max(span, LEAST_S), max(length_s, LEAST_S))
        begin_s = min(max(self.at_s - span / 2, 0.0), max(length_s - span, 0.0))
        self.begin_s, self.end_s = begin_s, begin_s + span
        self.moved.emit(self.at_s)
        self.update()

    def zoom(self, factor: float, around_s: float | None = None) -> None:
        """Show so many times as long, keeping that moment where it is."""
        if self.timeline is None:
            return
        around_s = self.at_s if around_s is None else around_s
        length_s = max(self.timeline.length_s, LEAST_S)
        span = min(max((self.end_s - self.begin_s) * factor, LEAST_S), length_s)
        share = (around_s - self.begin_s) / max(self.end_s - self.begin_s, 1e-9)
        begin_s = min(max(around_s - share * span, 0.0), length_s - span)
        self.begin_s, self.end_s = begin_s, begin_s + span
        self.update()

    def pan(self, seconds: float) -> None:
        """Look so much later."""
        if self.timeline is not None:
            span = self.end_s - self.begin_s
            last = max(self.timeline.length_s - span, 0.0)
            self.begin_s = min(max(self.begin_s + seconds, 0.0), last)
            self.end_s = self.begin_s + span
            self.update()

    def _x(self, at_s: float) -> float:
        wide = max(self.width() - self._names_px, 1)
        return self._names_px + (at_s - self.begin_s) / (self.end_s - self.begin_s) * wide

    def _time(self, x: float) -> float:
        wide = max(self.width() - self._names_px, 1)
        return self.begin_s + (x - self._names_px) / wide * (self.end_s - self.begin_s)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Up zooms in where the mouse is; sideways pans."""
        steps = event.angleDelta()
        if steps.x():
            self.pan(-steps.x() / 1200.0 * (self.end_s - self.begin_s))
        if steps.y():
            self.zoom(ZOOM ** (-steps.y() / 120.0), self._time(event.position().x()))
        event.accept()

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Choose the moment pressed; in the whole session above, go there."""
        x = event.position().x()
        if self.timeline is None or x < self._names_px:
            return
        if event.position().y() < self._whole_px:
            share = (x - self._names_px) / max(self.width() - self._names_px, 1)
            self.go(share * self.timeline.length_s)
            return
        self._drag = x, self.begin_s
        self.at_s = self._time(x)
        self.moved.emit(self.at_s)
        self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Drag the part that is shown."""
        if self._drag is not None:
            x, begin_s = self._drag
            wide = max(self.width() - self._names_px, 1)
            by_s = (x - event.position().x()) / wide * (self.end_s - self.begin_s)
            self.pan(begin_s + by_s - self.begin_s)

    def mouseReleaseEvent(self, _event: QMouseEvent) -> None:  # noqa: N802
        """Let go."""
        self._drag = None

    # Painting

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """The whole, the axis, the rows, the incidents, the moment."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(self.look.bg))
        timeline = self.timeline
        if timeline is not None and timeline.tracks:
            self._paint_whole(painter, timeline)
            self._paint_axis(painter, timeline)
            self._paint_rows(painter, timeline)
            x = self._x(self.at_s)
            if x >= self._names_px:
                painter.setPen(QPen(QColor(self.look.cover), 1, Qt.PenStyle.DashLine))
                painter.drawLine(round(x), self._whole_px, round(x), self.height())
        if self.hasFocus():
            painter.setPen(QPen(QColor(self.look.cover), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _row_height(self, timeline: SessionTimeline) -> float:
        return (self.height() - self._whole_px - self._axis_px) / len(timeline.tracks)

    def _paint_whole(self, painter: QPainter, timeline: SessionTimeline) -> None:
        wide = max(self.width() - self._names_px, 1)
        painter.setFont(theme.font(self._scaled(12)))
        painter.setPen(QColor(self.look.dim))
        flags = Qt.AlignmentFlag.AlignVCenter
        painter.drawText(
            QRectF(4, 0, self._names_px - 8, self._whole_px - self._scaled(14)),
            flags,
            "whole session",
        )
        loudest = timeline.peak_dbfs.max(axis=1, keepdims=True)
        level = pooled(loudest, 0.0, timeline.length_s, wide)
        image = _bars(level, wide, self._whole_px - self._scaled(16), self.look)
        painter.drawImage(self._names_px, 2, image)
        length_s = timeline.length_s
        for one in self.incidents:
            x = self._names_px + one.onset_s / length_s * wide
            end_s = length_s if one.end_s is None else one.end_s
            w = max((end_s - one.onset_s) / length_s * wide, 3.0)
            colour = QColor(self.look.colour(one.severity))
            painter.fillRect(
                QRectF(x, self._whole_px - self._scaled(12), w, self._scaled(6)), colour
            )
        painter.setPen(QPen(QColor(self.look.cover), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        left = self._names_px + self.begin_s / length_s * wide
        right = self._names_px + min(self.end_s / length_s, 1.0) * wide
        painter.drawRect(QRectF(left, 1, max(right - left - 1, 3.0), self._whole_px - 4))

    def _paint_axis(self, painter: QPainter, timeline: SessionTimeline) -> None:
        span = self.end_s - self.begin_s
        most = max((self.width() - self._names_px) // self._scaled(96), 1)
        step = next((s for s in STEPS_S if span / s <= most), STEPS_S[-1])
        painter.setFont(theme.font(self._scaled(11)))
        painter.setPen(QColor(self.look.dim))
        at_s = -(-self.begin_s // step) * step
        while at_s <= self.end_s:
            x = self._x(at_s)
            painter.drawLine(
                round(x),
                self._whole_px + self._axis_px - 4,
                round(x),
                self._whole_px + self._axis_px,
            )
            box = QRectF(x - self._scaled(40), self._whole_px, self._scaled(80), self._axis_px - 4)
            if self._names_px <= box.left() and box.right() <= self.width():
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, timeline.clock(at_s))
            at_s += step

    def _paint_rows(self, painter: QPainter, timeline: SessionTimeline) -> None:
        high, look = self._row_height(timeline), self.look
        wide = max(self.width() - self._names_px, 1)
        level = pooled(timeline.peak_dbfs, self.begin_s, self.end_s, wide)
        index = {track.input: n for n, track in enumerate(timeline.tracks)}
        top = self._whole_px + self._axis_px
        for one in self.incidents:
            end_s = timeline.length_s if one.end_s is None else one.end_s
            if end_s < self.begin_s or one.onset_s > self.end_s:
                continue
            ground = look.red_bg if one.severity is Severity.RED else look.amber_bg
            for number in tracks_of(one):
                if number in index:
                    x, x1 = max(self._x(one.onset_s), self._names_px), self._x(end_s)
                    box = QRectF(x, top + index[number] * high, max(x1 - x, 3.0), high - 1)
                    painter.fillRect(box, QColor(ground))
                    painter.setPen(QPen(QColor(look.colour(one.severity)), 2))
                    painter.drawRect(box.adjusted(1, 1, -1, -1))
        for n in range(len(timeline.tracks)):
            y = top + n * high
            tall = max(int(high) - 2, 3)
            image = _bars(level[:, n : n + 1], wide, tall, look, clear=True)
            painter.drawImage(self._names_px, round(y), image)
        self._paint_names(painter, timeline, high)
        painter.setPen(QPen(QColor(look.cover), 1))
        for mark in timeline.marks:
            if self.begin_s <= mark.at_s <= self.end_s:
                x = round(self._x(mark.at_s))
                painter.drawLine(x, top - 4, x, self.height())

    def _paint_names(self, painter: QPainter, timeline: SessionTimeline, high: float) -> None:
        """As the plan had them at the moment looked at; where rows are lower than letters, each
        so many rows only."""
        painter.setFont(theme.font(min(self._scaled(13), max(high * 0.6, LEAST_NAME_PX))))
        painter.setPen(QColor(self.look.ink))
        metrics = painter.fontMetrics()
        plan = {t.input: t for t in timeline.plan_at(self.at_s).tracks}
        step = max(1, ceil(metrics.ascent() / high))
        for n, track in list(enumerate(timeline.tracks))[::step]:
            name = wording.isolate(plan.get(track.input, track).label)
            words = metrics.elidedText(
                f"{track.input}  {name}", Qt.TextElideMode.ElideMiddle, self._names_px - 10
            )
            y = self._whole_px + self._axis_px + n * high
            box = QRectF(4, y, self._names_px - 8, max(high, metrics.height()))
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, words)


def _bars(
    level: NDArray[np.float32], width: int, height: int, look: Look, clear: bool = False
) -> QImage:
    """Levels as bars from the bottom up; the ground is left clear where that is wanted."""
    share = np.clip((level[:, 0] - LOWEST_DBFS) / -LOWEST_DBFS, 0.0, 1.0)
    tall = np.where(level[:, 0] <= UNKNOWN_DBFS, 0, np.maximum(np.rint(share * height), 1))
    lit = np.arange(height)[::-1, None] < tall[None, :]
    ground = 0 if clear else int(QColor(look.bg).rgba())
    pixels = np.where(lit, int(QColor(look.ribbon).rgba()), ground).astype(np.uint32)
    data = np.ascontiguousarray(pixels)
    image = QImage(data.data, width, height, width * 4, QImage.Format.Format_ARGB32)
    return image.copy()
