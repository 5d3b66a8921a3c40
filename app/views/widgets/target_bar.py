"""A level over the zone that it should lie in."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from engine.model.number_text import true_minus

LOWEST_DBFS: Final = -70.0
SCALE: Final = 0.8
"""Height of the scale below the bar, in lines of text."""


class TargetBar(QWidget):
    """A level on a scale from -70 to 0 dBFS, over the zone it should lie in."""

    def __init__(self, what: str) -> None:
        super().__init__()
        self._what = what
        self._value: float | None = None
        self._zone: tuple[float, float] | None = None
        self.setMinimumWidth(160)
        self.setAccessibleName(what)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Bar and scale."""
        return QSize(160, round(self.fontMetrics().height() * 1.8))

    def sizeHint(self) -> QSize:  # noqa: N802
        """As low as it can be."""
        return self.minimumSizeHint()

    def put(self, value_dbfs: float | None, zone: tuple[float, float] | None) -> None:
        """Show that level; None while there is none."""
        if (value_dbfs, zone) != (self._value, self._zone):
            self._value, self._zone = value_dbfs, zone
            description = "no level yet" if value_dbfs is None else f"{value_dbfs:.0f} dBFS"
            self.setAccessibleDescription(description)
            self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Scale, zone, level."""
        painter = QPainter(self)
        ink = self.palette().text().color()
        faint = QColor(ink)
        faint.setAlpha(70)
        wide, letters = self.width(), self.fontMetrics().height()
        high = self.height() - round(letters * SCALE)

        def x(dbfs: float) -> float:
            return (wide - 1) * min(max((dbfs - LOWEST_DBFS) / -LOWEST_DBFS, 0.0), 1.0)

        painter.fillRect(QRectF(0, high / 2 - 1, wide, 2), faint)
        small = self.font()
        small.setPixelSize(max(8, round(letters * SCALE * 0.85)))
        painter.setFont(small)
        dim = QColor(ink)
        dim.setAlpha(190)
        for dbfs in range(-60, 1, 20):
            painter.fillRect(QRectF(x(dbfs), 0, 1, high), faint)
            painter.setPen(dim)
            words = true_minus(str(dbfs))
            spot = QRectF(x(dbfs) - 40, high, 80, self.height() - high)
            align = Qt.AlignmentFlag.AlignHCenter
            if dbfs == 0:
                spot, align = QRectF(0, high, wide, self.height() - high), align.AlignRight
            painter.drawText(spot, align | Qt.AlignmentFlag.AlignTop, words)
        if self._zone is not None:
            low, top = self._zone
            painter.setPen(QPen(ink, 1.5))
            painter.drawRect(QRectF(x(low), 1, x(top) - x(low), high - 2))
        if self._value is not None:
            painter.fillRect(QRectF(0, high * 0.3, x(self._value), high * 0.4), ink)
        painter.end()
