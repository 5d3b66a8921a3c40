"""A level over the zone that it should lie in."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

LOWEST_DBFS: Final = -70.0


class TargetBar(QWidget):
    """A level on a scale from -70 to 0 dBFS, over the zone it should lie in."""

    def __init__(self, what: str) -> None:
        super().__init__()
        self._what = what
        self._value: float | None = None
        self._zone: tuple[float, float] | None = None
        self.setMinimumSize(160, 16)
        self.setAccessibleName(what)

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
        faint.setAlpha(60)
        wide, high = self.width(), self.height()

        def x(dbfs: float) -> float:
            return wide * min(max((dbfs - LOWEST_DBFS) / -LOWEST_DBFS, 0.0), 1.0)

        painter.fillRect(QRectF(0, high / 2 - 1, wide, 2), faint)
        small = self.font()
        small.setPixelSize(max(8, high // 2))
        painter.setFont(small)
        for dbfs in range(-60, 1, 20):
            painter.fillRect(QRectF(x(dbfs) - 0.5, 0, 1, high), faint)
            painter.setPen(faint.lighter(150))
            spot = QRectF(x(dbfs) - 42, 0, 40, high)
            painter.drawText(spot, Qt.AlignmentFlag.AlignRight, str(dbfs).replace("-", "−"))
        if self._zone is not None:
            low, top = self._zone
            painter.setPen(QPen(ink, 1.5))
            painter.drawRect(QRectF(x(low), 1.5, x(top) - x(low), high - 3))
        if self._value is not None:
            painter.fillRect(QRectF(0, high * 0.3, x(self._value), high * 0.4), ink)
        painter.end()
