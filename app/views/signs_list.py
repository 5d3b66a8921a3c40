"""Early signs under the list to fix: at most three quiet lines, each with its small curve."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from app.models.sign_lines import SignLine
from app.style.theme import NIGHT, Look
from app.views.widgets.basics import plain, say
from engine.model.early_signs import MOST_SHOWN

SHAPE = "◇"
"""Of early signs alone: alarms have octagons, triangles and dots."""


class Curve(QWidget):
    """The figures of 20 minutes; the track's normal is a dashed line."""

    def __init__(self) -> None:
        super().__init__()
        self.look = NIGHT
        self.values: tuple[float | None, ...] = ()
        self.normal = 0.0

    def put(self, values: tuple[float | None, ...], normal: float) -> None:
        """Show these figures."""
        if (values, normal) != (self.values, self.normal):
            self.values, self.normal = values, normal
            self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Draw it over its whole height; where nothing is known there is a gap."""
        known = [v for v in self.values if v is not None]
        if not known:
            return
        low, high = min(*known, self.normal), max(*known, self.normal)
        span, height = max(high - low, 1e-9), self.height() - 4
        step = self.width() / max(len(self.values) - 1, 1)

        def at(value: float) -> float:
            return 2 + height * (1.0 - (value - low) / span)

        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(self.look.dim), 1.0, Qt.PenStyle.DashLine))
        painter.drawLine(QPointF(0, at(self.normal)), QPointF(self.width(), at(self.normal)))
        painter.setPen(QPen(QColor(self.look.ink), 1.5))
        for run in _runs(self.values):
            painter.drawPolyline(QPolygonF([QPointF(n * step, at(v)) for n, v in run]))
        painter.end()


def _runs(values: Sequence[float | None]) -> list[list[tuple[int, float]]]:
    """Stretches without a gap, with their places."""
    runs: list[list[tuple[int, float]]] = [[]]
    for n, value in enumerate(values):
        if value is None:
            runs.append([])
        else:
            runs[-1].append((n, value))
    return [run for run in runs if len(run) > 1]


class SignsList(QWidget):
    """Hides while there is no sign."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("Early signs: no alarm yet")
        self.heading = plain("EARLY SIGNS, NO ALARM YET", "heading")
        self.rows = [_Row() for _ in range(MOST_SHOWN)]
        self._column = QVBoxLayout(self)
        self._column.addWidget(self.heading)
        for row in self.rows:
            self._column.addWidget(row)
        self.hide()

    def set_look(self, look: Look, scale: float) -> None:
        """Change colours and size."""
        self._column.setContentsMargins(0, round(8 * scale), 0, 0)
        self._column.setSpacing(round(6 * scale))
        for row in self.rows:
            row.set_look(look, scale)

    def put(self, lines: Sequence[SignLine], brief: bool = False) -> None:
        """Show these signs; `brief`: the room belongs to something red."""
        for n, row in enumerate(self.rows):
            row.setVisible(n < len(lines))
            if n < len(lines):
                row.put(lines[n], brief)
        if self.isHidden() == bool(lines):
            self.setVisible(bool(lines))


class _Row(QWidget):
    def __init__(self) -> None:
        super().__init__()
        self.title, self.words = plain(tone="bold", wrap=True), plain(wrap=True)
        self.advice = plain(tone="dim", wrap=True)
        self.curve = Curve()
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.addWidget(self.title, 0, 0)
        self._grid.addWidget(self.curve, 0, 1, 2, 1)
        self._grid.addWidget(self.words, 1, 0)
        self._grid.addWidget(self.advice, 2, 0, 1, 2)
        self._grid.setColumnStretch(0, 1)

    def set_look(self, look: Look, scale: float) -> None:
        self.curve.look = look
        self.curve.setFixedSize(QSize(round(96 * scale), round(36 * scale)))
        self._grid.setSpacing(round(3 * scale))
        self.curve.update()

    def put(self, line: SignLine, brief: bool) -> None:
        for part in (self.advice, self.curve):
            part.setVisible(not brief)
        for label, words in (
            (self.title, f"{SHAPE} {line.title}"),
            (self.words, line.words),
            (self.advice, line.advice),
        ):
            say(label, words)
        self.curve.put(line.curve, line.normal)
        self.setAccessibleName(f"{line.title}: {line.words} {line.advice}")
