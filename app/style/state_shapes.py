"""The mark of each state as a drawn shape, so that no state is told by colour alone."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QIcon, QPainter, QPainterPath, QPen, QPixmap, QPolygonF

from app.style.state_marks import Mark

_BOX = 20.0
_OCTAGON = ((6, 1), (14, 1), (19, 6), (19, 14), (14, 19), (6, 19), (1, 14), (1, 6))
_TRIANGLE = ((10, 2), (19, 18), (1, 18))
_HOLLOW = ((10, 4), (17.5, 17), (2.5, 17))


def _closed(points: tuple[tuple[float, float], ...]) -> QPainterPath:
    path = QPainterPath()
    path.addPolygon(QPolygonF([QPointF(x, y) for x, y in points]))
    path.closeSubpath()
    return path


def _lines(*ends: tuple[float, float, float, float]) -> QPainterPath:
    path = QPainterPath()
    for x0, y0, x1, y1 in ends:
        path.moveTo(x0, y0)
        path.lineTo(x1, y1)
    return path


def outline(mark: Mark) -> tuple[QPainterPath, bool]:
    """The path of a mark in a box of 20 × 20, and whether it is filled (else drawn as a line)."""
    ring = QPainterPath()
    match mark:
        case Mark.RED:
            return _closed(_OCTAGON), True
        case Mark.AMBER:
            return _closed(_TRIANGLE), True
        case Mark.RETURNED:
            return _closed(_HOLLOW), False
        case Mark.SHELVED:
            ring.addEllipse(QPointF(10, 10), 7.5, 7.5)
            ring.addPath(_lines((10, 5.5, 10, 10), (10, 10, 13.5, 12)))
        case Mark.SUPPRESSED:
            return _lines((6.5, 4, 6.5, 16), (13.5, 4, 13.5, 16)), False
        case Mark.OUT_OF_SERVICE:
            return _lines((4, 4, 16, 16), (16, 4, 4, 16)), False
        case Mark.BATTERY:
            ring.addRect(QRectF(3, 6, 12, 8))
            ring.addPath(_lines((17.5, 9, 17.5, 11), (6, 8.5, 6, 11.5)))
        case Mark.OK:
            ring.addEllipse(QPointF(10, 10), 3, 3)
    return ring, False


def draw(painter: QPainter, mark: Mark, box: QRectF, colour: str) -> None:
    """Draw a mark into a square box."""
    path, filled = outline(mark)
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(box.topLeft())
    painter.scale(box.width() / _BOX, box.height() / _BOX)
    if filled:
        painter.fillPath(path, QColor(colour))
    else:
        pen = QPen(QColor(colour), 2.0)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.strokePath(path, pen)
    painter.restore()


def window_icon() -> QIcon:
    """Our own icon: four tracks, one of them marked with the octagon."""
    icon = QIcon()
    for size in (16, 24, 32, 48, 64, 128, 256):
        pixmap = QPixmap(size, size)
        pixmap.fill(Qt.GlobalColor.transparent)
        painter = QPainter(pixmap)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.scale(size / 64, size / 64)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor("#14171a"))
        painter.drawRoundedRect(QRectF(0, 0, 64, 64), 12, 12)
        for row, width in enumerate((40, 28, 14, 34)):
            painter.setBrush(QColor("#ff6e60" if row == 2 else "#9aa5ad"))
            painter.drawRect(QRectF(10, 11 + 12 * row, width, 6))
        draw(painter, Mark.RED, QRectF(36, 28, 20, 20), "#ff6e60")
        painter.end()
        icon.addPixmap(pixmap)
    return icon
