"""One entry of the list to fix: its shape, its words, the buttons that answer it."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout, QWidget

from app.models.alarm_card import Card
from app.style import state_shapes
from app.style.theme import Look
from app.views.widgets.basics import Button, plain, restyle, say
from engine.model.messages import AlarmState, Severity


class Shape(QWidget):
    """A state's shape in front of a card's title."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.card: Card | None = None

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Draw it."""
        if self.card is not None:
            painter = QPainter(self)
            solid = is_solid(self.card)
            colour = self.look.on_alarm if solid else self.look.colour(self.card.severity)
            state_shapes.draw(painter, self.card.mark, self.rect().toRectF(), colour)
            painter.end()


class CardView(QFrame):
    """One card. `pressed` carries its key; `seen` and `shelved` come from its buttons."""

    pressed = Signal(object)
    seen = Signal(object)
    shelved = Signal(object)
    listen_asked = Signal(object)

    def __init__(self, card: Card, look: Look, scale: float) -> None:
        super().__init__()
        self.setObjectName("card")
        self.key = card.key
        self.card: Card | None = None
        self.shape = Shape(look)
        self.title, self.time = plain(wrap=True), plain()
        self.headline = plain(tone="bold", wrap=True)
        self.where, self.cover = plain(wrap=True), plain(tone="cover", wrap=True)
        self.check, self.evidence = plain(wrap=True), plain(tone="dim", wrap=True)
        self.check.setProperty("part", "first")
        self.where.setProperty("part", "where")
        self.notes = plain(wrap=True)
        self.shelve_min = 5.0
        self.see, self.shelve = Button("Seen it", "A"), Button("Shelve", "S")
        self.listen = Button("Listen", "L")
        self.answers = (self.see, self.shelve, self.listen)
        self.buttons = QWidget()
        self._build(scale)
        self.see.clicked.connect(lambda: self.seen.emit(self.key))
        self.shelve.clicked.connect(lambda: self.shelved.emit(self.key))
        self.listen.clicked.connect(lambda: self.listen_asked.emit(self.key))

    def _build(self, scale: float) -> None:
        for part in (self.title, self.time):
            part.setProperty("part", "title")
        side = round(16 * scale)
        self.shape.setFixedSize(QSize(side, side))
        top = QHBoxLayout()
        top.setSpacing(round(8 * scale))
        top.addWidget(self.shape, 0, Qt.AlignmentFlag.AlignVCenter)
        top.addWidget(self.title, 1)
        top.addWidget(self.time, 0, Qt.AlignmentFlag.AlignTop)
        row = QHBoxLayout(self.buttons)
        row.setContentsMargins(0, round(5 * scale), 0, 0)
        row.setSpacing(round(8 * scale))
        for button in self.answers:
            row.addWidget(button)
        row.addStretch(1)
        column = QVBoxLayout(self)
        edge = round(10 * scale)
        column.setContentsMargins(edge, edge, edge, edge)
        column.setSpacing(round(3 * scale))
        column.addLayout(top)
        lines = (self.headline, self.check, self.where, self.cover, self.evidence, self.notes)
        for line in lines:
            column.addWidget(line)
        column.addWidget(self.buttons)

    def put(self, card: Card, full: bool, chosen: bool) -> None:
        """Show this card; `full` with all its lines and buttons."""
        severity = card.severity.word if card.severity else "none"
        parts: tuple[QWidget, ...] = (self, self.title, self.time)
        for widget in parts:
            self._mark(widget, "severity", severity)
        self._mark(self, "chosen", "true" if chosen else "false")
        self._mark(self, "alone", "true" if card.uncovered else "false")
        solid = "true" if is_solid(card) else "false"
        if self.property("solid") != solid:
            self._mark(self, "solid", solid)
            for child in self.findChildren(QWidget):
                restyle(child)
        standing = card.severity is not None
        say(self.headline, card.headline, "bold" if standing else "dim")
        for label, words in (
            (self.title, card.title),
            (self.time, card.time),
            (self.where, card.where),
            (self.cover, card.cover),
            (self.check, card.check),
            (self.evidence, card.evidence),
            (self.notes, "\n".join(f"Note: {note}" for note in card.notes)),
        ):
            say(label, words)
        for label in (self.check, self.where, self.evidence, self.notes):
            label.setVisible(full and bool(label.text()))
        self.cover.setVisible(bool(card.cover) and (full or standing))
        self._put_buttons(card, full)
        for button in self.answers:  # Tab stays short: keys choose a card first
            button.setFocusPolicy(
                Qt.FocusPolicy.StrongFocus if chosen else Qt.FocusPolicy.ClickFocus
            )
        if self.card is None or card.mark is not self.card.mark:
            self.shape.update()
        self.card = self.shape.card = card
        lines = (card.title, card.time, card.headline, card.check, card.where, card.cover)
        self.setAccessibleName(", ".join(w for w in (*lines, *card.notes) if w))

    def _put_buttons(self, card: Card, full: bool) -> None:
        unseen = card.state in (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED)
        shelved = card.state is AlarmState.SHELVED
        standing = card.severity is not None and bool(card.incidents)
        self.see.setVisible(unseen)
        self.shelve.setVisible(standing or shelved)
        self.listen.setVisible(standing and bool(card.tracks))
        words = "Put back" if shelved else f"Shelve {self.shelve_min:g} min"
        if self.shelve.accessibleName() != words:
            self.shelve.put(words, "S")
        self.buttons.setVisible(full and (unseen or standing or shelved))

    @staticmethod
    def _mark(widget: QWidget, name: str, value: str) -> None:
        if widget.property(name) != value:
            widget.setProperty(name, value)
            restyle(widget)

    def mousePressEvent(self, _event: QMouseEvent) -> None:  # noqa: N802
        """Choose this card."""
        self.pressed.emit(self.key)


def is_solid(card: Card) -> bool:
    """A red that nobody has seen: a solid field with light text."""
    return card.severity is Severity.RED and card.state is AlarmState.UNACKNOWLEDGED
