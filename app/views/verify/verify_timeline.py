"""A session against its takes: tracks as rows, takes as fields; what is missing is hatched."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.models.verify_sheet import VerifySheet
from app.style import theme
from app.style.theme import Look
from app.style.wording import isolate, watching

NAMES_PX: Final = 170.0
HEAD_PX: Final = 24.0
AXIS_PX: Final = 20.0
LEAST_ROW_PX: Final = 13.0
MOST_ROW_PX: Final = 30.0
USUAL_PX: Final = 14
"""The letters of a page at the usual size: all is painted as much larger as they are."""
STEPS_S: Final = (10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400)


class VerifyTimeline(QWidget):
    """Painted; what it shows stands in words in the list beside it."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.setAccessibleName("Session against takes, tracks as rows")
        self._sheet: VerifySheet | None = None

    def put(self, sheet: VerifySheet) -> None:
        """Show this."""
        self._sheet = sheet
        names = ", ".join(take.name for take in sheet.takes)
        rows = HEAD_PX + AXIS_PX + LEAST_ROW_PX * len(sheet.tracks)
        self.setMinimumHeight(round(rows * self._factor))
        self.setAccessibleDescription(f"{len(sheet.takes)} takes: {names}. {sheet.words}")
        self.update()

    @property
    def _factor(self) -> float:
        return self.fontInfo().pixelSize() / USUAL_PX

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.look = look
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Rolling, takes, what is missing, names, axis."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(self.look.bg))
        sheet = self._sheet
        if sheet is not None and sheet.tracks and sheet.rolling:
            painter.scale(self._factor, self._factor)
            self._paint(painter, sheet)
        painter.end()

    def _paint(self, painter: QPainter, sheet: VerifySheet) -> None:
        begin_s = min(a for a, _ in sheet.rolling)
        end_s = max(b for _, b in sheet.rolling)
        room = self.height() / self._factor - HEAD_PX - AXIS_PX
        high = min(max(room / len(sheet.tracks), LEAST_ROW_PX), MOST_ROW_PX)
        bottom = HEAD_PX + high * len(sheet.tracks)
        scale = (self.width() / self._factor - NAMES_PX - 8.0) / max(end_s - begin_s, 1e-9)

        def x(at_s: float) -> float:
            return NAMES_PX + (min(max(at_s, begin_s), end_s) - begin_s) * scale

        for a, b in sheet.rolling:
            painter.fillRect(QRectF(x(a), HEAD_PX, x(b) - x(a), bottom - HEAD_PX), self.look.line)
        self._paint_takes(painter, sheet, x, high)
        for a, b in sheet.missing:
            box = QRectF(x(a), HEAD_PX, max(x(b) - x(a), 3.0), bottom - HEAD_PX)
            self._paint_wrong(painter, box)
        self._paint_names(painter, sheet, high)
        self._paint_axis(painter, (begin_s, end_s), x, bottom)

    def _paint_wrong(self, painter: QPainter, box: QRectF) -> None:
        """A field and lines: not told by colour alone."""
        painter.fillRect(box, QColor(self.look.red_bg))
        painter.fillRect(box, QBrush(QColor(self.look.red), Qt.BrushStyle.BDiagPattern))
        painter.setPen(QPen(QColor(self.look.red), 1))
        painter.drawRect(box)

    def _paint_takes(self, painter: QPainter, sheet: VerifySheet, x: object, high: float) -> None:
        assert callable(x)
        painter.setFont(theme.font(12))
        for take in sheet.takes:
            left, right = x(take.begin_s), x(take.end_s)
            painter.setPen(QColor(self.look.dim))
            words = f"{take.name}  {take.begin}"
            box = QRectF(left + 1, 2, max(right - left - 4, 0), HEAD_PX - 4)
            shown = painter.fontMetrics().elidedText(
                words, Qt.TextElideMode.ElideRight, int(box.width())
            )
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, shown)
            for n, (number, _) in enumerate(sheet.tracks):
                top = HEAD_PX + n * high
                row = QRectF(left, top + 1, max(right - left - 2, 2.0), max(high - 2, 3.0))
                if number in take.wrong:
                    self._paint_wrong(painter, row)
                else:
                    painter.fillRect(row, QColor(self.look.ribbon))

    def _paint_names(self, painter: QPainter, sheet: VerifySheet, high: float) -> None:
        painter.setFont(theme.font(min(13.0, max(high * 0.7, 8.0))))
        wrong = frozenset[int]().union(*(take.wrong for take in sheet.takes))
        for n, (number, label) in enumerate(sheet.tracks):
            painter.setPen(QColor(self.look.red if number in wrong else self.look.ink))
            words = painter.fontMetrics().elidedText(
                f"{number}  {isolate(label)}", Qt.TextElideMode.ElideMiddle, int(NAMES_PX) - 12
            )
            box = QRectF(4, HEAD_PX + n * high, NAMES_PX - 8, high)
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, words)

    def _paint_axis(
        self, painter: QPainter, span: tuple[float, float], x: object, bottom: float
    ) -> None:
        """Session time, from its begin."""
        assert callable(x)
        step = next((s for s in STEPS_S if (span[1] - span[0]) / s <= 9), STEPS_S[-1])
        painter.setFont(theme.font(11))
        painter.setPen(QColor(self.look.dim))
        at_s = -(-span[0] // step) * step
        while at_s <= span[1]:
            painter.drawLine(round(x(at_s)), round(bottom), round(x(at_s)), round(bottom) + 4)
            box = QRectF(x(at_s) - 40, bottom + 4, 80, AXIS_PX - 4)
            if box.right() < self.width() / self._factor:
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, watching(at_s))
            at_s += step
