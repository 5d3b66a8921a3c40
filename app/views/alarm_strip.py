"""The worst alarms over every page and prompt, so that none of them is ever hidden."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout, QWidget

from app.models.alarm_card import Card
from app.models.strip_cells import MOST, StripCell, cells
from app.style import state_shapes
from app.style.theme import Look
from app.views.widgets.basics import Button, Elided, ElidedLines, plain, restyle, say

SEEN_KEY: Final = "F9"
CALM: Final = "Nothing to fix."
CELL_PX: Final = 330
"""At the usual size an alarm needs so much for its name, fault and time; ours, by eye."""


class CellView(QFrame):
    """One alarm of the strip."""

    seen = Signal(object)

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.setObjectName("cell")
        self.look = look
        self.cell: StripCell | None = None
        self.title, self.body = Elided("bold"), ElidedLines()
        self.body.setProperty("part", "strip")
        self.see = Button("Seen it")
        self.see.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # keys stay with the page below
        self.row = QHBoxLayout(self)
        words = QVBoxLayout()
        words.setSpacing(1)
        words.addWidget(self.title)
        words.addWidget(self.body, 1)
        self._mark = QSize(16, 16)
        self.row.addLayout(words, 1)
        self.row.addWidget(self.see, 0, Qt.AlignmentFlag.AlignVCenter)
        self.see.clicked.connect(lambda: self.cell and self.seen.emit(self.cell.card))

    def set_scale(self, scale: float) -> None:
        """Edges and the shape's size."""
        side = round(18 * scale)
        self._mark = QSize(side, side)
        self.row.setContentsMargins(
            side + round(22 * scale), round(6 * scale), round(10 * scale), 3
        )

    def put(self, cell: StripCell, worst: bool) -> None:
        """Show that alarm; `worst`: the key acts on it."""
        say(self.title, cell.title)
        say(self.body, cell.body)
        self.see.setVisible(cell.unseen)
        key = SEEN_KEY if worst else ""
        if self.see.text() != (f"Seen it   {key}" if key else "Seen it"):
            self.see.put("Seen it", key)
        for name, value in (
            ("solid", str(cell.solid).lower()),
            ("alone", str(cell.alone).lower()),
            ("severity", cell.severity.word),
        ):
            if self.property(name) != value:
                self.setProperty(name, value)
                for widget in (self, self.title, self.body, self.see):
                    restyle(widget)
        self.cell = cell
        self.setAccessibleName(f"{cell.severity.word}: {cell.title}. {cell.body}")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """The frame, and the state's shape at the left."""
        super().paintEvent(event)
        if self.cell is None:
            return
        look, side = self.look, self._mark.width()
        colour = look.on_alarm if self.cell.solid else look.colour(self.cell.severity)
        painter = QPainter(self)
        top = (self.height() - side) / 2
        box = QRectF(self.row.contentsMargins().left() - side - 8, top, side, side)
        state_shapes.draw(painter, self.cell.mark, box, QColor(colour).name())
        painter.end()


class AlarmStrip(QWidget):
    """Up to three alarms side by side, worst first. `seen` carries a `Card`."""

    seen = Signal(object)

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.setObjectName("strip")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setAccessibleName("Alarms that stand now")
        self.views = [CellView(look) for _ in range(MOST)]
        self.more, self.calm = plain("", "bold"), plain(CALM, "dim")
        self.row = QHBoxLayout(self)
        self.row.setContentsMargins(0, 0, 0, 0)
        self.row.setSpacing(2)
        self.row.addWidget(self.calm)
        for view in self.views:
            self.row.addWidget(view, 1)
            view.seen.connect(self.seen)
            view.hide()
        self.row.addWidget(self.more)
        self.more.hide()
        self._cards: tuple[Card, ...] = ()
        self._scale, self._most = 1.0, MOST
        self.hide()

    def set_look(self, look: Look, scale: float) -> None:
        """Change colours and size."""
        for view in self.views:
            view.look = look
            view.set_scale(scale)
        self.calm.setContentsMargins(round(18 * scale), 0, 0, 0)
        self.more.setContentsMargins(round(10 * scale), 0, round(14 * scale), 0)
        self._scale = scale
        self._share()

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """As many alarms side by side as can be read."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._share()

    def _share(self) -> None:
        self._most = max(1, min(MOST, int(self.width() / (CELL_PX * self._scale))))
        self._show()

    def put(self, cards: Sequence[Card]) -> None:
        """Show the worst of these."""
        if tuple(cards) == self._cards:
            return
        self._cards = tuple(cards)
        self._show()

    def _show(self) -> None:
        shown, left = cells(self._cards, self._most)
        for n, view in enumerate(self.views):
            view.setVisible(n < len(shown))
            if n < len(shown):
                first = next((m for m, cell in enumerate(shown) if cell.unseen), None)
                view.put(shown[n], n == first)
                self.row.setStretchFactor(view, 4 if n == 0 and shown[n].solid else 3)
        self.calm.setVisible(not shown)
        self._fit()
        self.more.setVisible(left > 0)
        say(self.more, f"+ {left} more")

    def _fit(self) -> None:
        """No higher than what it says."""
        self.setFixedHeight(round((76 if cells(self._cards, self._most)[0] else 30) * self._scale))

    @property
    def worst(self) -> Card | None:
        """The worst alarm that nobody has seen."""
        shown, _ = cells(self._cards, self._most)
        return next((cell.card for cell in shown if cell.unseen), None)
