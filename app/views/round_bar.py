"""A round in one large line: what plays, how long still, what comes, and the keys for it."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app.models import round_words
from app.views.widgets.basics import Button, Elided, plain, say
from engine.model.round_state import RoundState
from engine.model.tracks import Plan


class RoundBar(QWidget):
    """Under the board, there only while a round runs."""

    next_asked = Signal()
    back_asked = Signal()
    stay_asked = Signal()
    right_asked = Signal()
    doubt_asked = Signal()
    end_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("listen")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setAccessibleName("Round in the headphones")
        self.title, self.left = Elided("bold"), plain(tone="bold")
        self.due = Elided("dim")
        self.next, self.back, self.stay = (
            Button("Next", "E"),
            Button("Back", "⇧E"),
            Button("Stay", "Z"),
        )
        self.right = Button("Sounds right", "Y")
        self.doubt, self.end = Button("Doubt", "D"), Button("End", "Q")
        self._top, self._row, self._column = QHBoxLayout(), QHBoxLayout(), QVBoxLayout(self)
        for label in (self.title, self.left):
            label.setProperty("part", "round")
        self._top.addWidget(self.title, 1)
        self._top.addWidget(self.left)
        self._row.addWidget(self.due, 1)
        for button, asked in (
            (self.back, self.back_asked),
            (self.stay, self.stay_asked),
            (self.next, self.next_asked),
            (self.right, self.right_asked),
            (self.doubt, self.doubt_asked),
            (self.end, self.end_asked),
        ):
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.clicked.connect(asked)
            self._row.addWidget(button)
        self._column.addLayout(self._top)
        self._column.addLayout(self._row)
        self.hide()

    def set_scale(self, scale: float) -> None:
        """Spacing at that size, and the large line."""
        self._column.setContentsMargins(
            round(18 * scale), round(8 * scale), round(18 * scale), round(8 * scale)
        )
        self._column.setSpacing(round(6 * scale))
        self._row.setSpacing(round(10 * scale))
        for label in (self.title, self.left):
            font = label.font()
            font.setPixelSize(round(30 * scale))
            font.setBold(True)
            label.setFont(font)
            label.setStyleSheet(f"font-size: {round(30 * scale)}px; font-weight: 700;")
            label.setMinimumHeight(round(38 * scale))

    def show_state(self, state: RoundState, plan: Plan) -> None:
        """Bring it up to date."""
        if state.on:
            say(self.title, round_words.title(state, plan))
            say(self.left, round_words.left(state))
            say(self.due, round_words.due(state))
            self.title.setAccessibleName(f"{self.title.text()}, {self.left.text()}")
        if self.isHidden() == state.on:
            self.setVisible(state.on)
