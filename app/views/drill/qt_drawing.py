"""Paints a report's drawings with Qt, as vectors."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPen

from engine.report.layout.drawing import Box, Drawing, Path, Words


def paint(drawing: Drawing, painter: QPainter, left: float, top: float, width: float) -> None:
    """Paint a drawing at that place, as wide as said."""
    scale = width / drawing.width
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(left, top)
    for shape in drawing.shapes:
        match shape:
            case Box():
                box = QRectF(shape.x, shape.y, shape.width, shape.height)
                painter.fillRect(
                    QRectF(box.topLeft() * scale, box.size() * scale), QColor(shape.fill)
                )
            case Path():
                _paint_path(shape, painter, scale)
            case Words():
                _paint_words(shape, painter, scale)
    painter.restore()


def _paint_path(path: Path, painter: QPainter, scale: float) -> None:
    outline = QPainterPath()
    line_to = outline.lineTo
    for part in path.parts:
        outline.moveTo(*part[0])
        for x, y in part[1:]:
            line_to(x, y)
    painter.save()
    painter.scale(scale, scale)
    if path.fill:
        outline.setFillRule(Qt.FillRule.WindingFill)
        painter.fillPath(outline, QColor(path.fill))
    if path.stroke:
        pen = QPen(QColor(path.stroke), path.width)
        if path.dashed:
            pen.setDashPattern([3.0 / path.width, 2.0 / path.width])
        painter.strokePath(outline, pen)
    painter.restore()


def _paint_words(words: Words, painter: QPainter, scale: float) -> None:
    font = QFont(painter.font())
    font.setPixelSize(max(1, round(words.size * scale)))
    font.setBold(words.bold)
    device = painter.device()
    width = QFontMetricsF(font, device).horizontalAdvance(words.text)
    shift = {"start": 0.0, "middle": width / 2.0, "end": width}[words.anchor]
    painter.save()
    painter.setFont(font)
    painter.setPen(QColor(words.colour))
    painter.drawText(QPointF(words.x * scale - shift, words.y * scale), words.text)
    painter.restore()
