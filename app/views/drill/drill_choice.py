"""What a drill shall be: the take, how hard, blind or not."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QLineEdit, QWidget

from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay
from engine.model import cautions
from engine.model.commands import Open

WORDS = (
    "A clean take plays through the normal watch, with faults put in at unannounced moments.",
    "Name each cause before the board does. Your score comes at the end, or with Esc.",
    cautions.DRILL,
    cautions.DO_NOT_GO_IN,
)
CHOICES = (("easy", "Easy"), ("real", "Like a real night"), ("hard", "Hard"))
MOST_SEEDS = 10_000


class DrillChoice(Overlay):
    """`chosen` carries an `Open`."""

    chosen = Signal(object)

    def __init__(self, parent: QWidget, takes: Sequence[str], plan: str | None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Drill: take and level")
        self._takes, self._plan = (None, *takes), plan
        self.column.addWidget(plain("Drill: rehearse before the night", "title"))
        for words in WORDS:
            self.column.addWidget(plain(words, wrap=True))
        self.take, self.seed = QComboBox(), QLineEdit()
        self.take.setAccessibleName("Take")
        self.take.addItem("The demo take")
        for path in takes:
            self.take.addItem(f"{Path(path).name} (without faults of its own)")
        self.seed.setPlaceholderText("seed of an earlier drill; empty for a new one")
        self.seed.setAccessibleName("Seed")
        self.seed.setMaxLength(9)
        self.blind = QCheckBox("Blind: levels only, no colours, no list")
        self.problem = plain("", "red")
        for part in (self.take, self.seed, self.blind, self.problem):
            self.column.addWidget(part)
        row = QHBoxLayout()
        self.levels: dict[str, Button] = {}
        for level, words in CHOICES:
            button = Button(words, main=True)
            button.clicked.connect(lambda _checked=False, one=level: self._choose(one))
            self.levels[level] = button
            row.addWidget(button)
        leave = Button("Not now", "Esc", main=True)
        leave.clicked.connect(self.hide)
        row.addWidget(leave)
        self.column.addLayout(row)

    def _choose(self, level: str) -> None:
        text = self.seed.text().strip()
        if text and not text.isdecimal():
            say(self.problem, "A seed is a whole number.")
            return
        take = self._takes[self.take.currentIndex()]
        seed = int(text) if text else secrets.randbelow(MOST_SEEDS)
        self.hide()
        self.chosen.emit(
            Open(
                take=take,
                demo=take is None,
                plan=self._plan,
                seed=seed,
                level=level,
                blind=self.blind.isChecked(),
            )
        )
