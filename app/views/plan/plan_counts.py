"""Asks how many performers, booms and the rest a new plan is to begin with."""

from __future__ import annotations

from typing import ClassVar, Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLineEdit, QSpinBox, QWidget

from app.models.plan_rows import TrackCounts, names_in
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

LINES: Final = (
    ("performers", "Performers", (0, 32)),
    ("packs", "Packs on each", (1, 2)),
    ("booms", "Booms", (0, 16)),
    ("ambience", "Ambience", (0, 16)),
    ("talkback", "Talkback", (0, 8)),
    ("timecode", "Timecode", (0, 2)),
)
"""Field of `TrackCounts`, label, least and most."""
FIRST: Final = TrackCounts(timecode=1)
LONGEST: Final = 600
"""Of the line of names, in letters."""
WIDTH: Final = 72
"""Of each number, px: however many digits it may have, the buttons beside it stand in line."""


class PlanCounts(Overlay):
    """`begun` carries the rows."""

    SCROLLS: ClassVar = True

    begun = Signal(object)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName("How many of each")
        self.column.addWidget(plain("How many of each?", "title"))
        self.names = QLineEdit()
        self.names.setMaxLength(LONGEST)
        self.names.setMinimumWidth(360)
        self.names.setAccessibleName("Names of the performers")
        self.names.setPlaceholderText("Foreman, Rigger, Ringer")
        self.boxes = {key: self._box(key, *limits) for key, _, limits in LINES}
        self.column.addLayout(self._grid())
        self.total = plain("", "bold")
        self.column.addWidget(self.total)
        self.begin = Button("Begin with these rows", "Enter", main=True).as_primary()
        cancel = Button("Cancel", "Esc", main=True)
        row = QHBoxLayout()
        for button in (self.begin, cancel):
            row.addWidget(button)
        row.addStretch(1)
        self.column.addLayout(row)
        self.begin.clicked.connect(self._begin)
        cancel.clicked.connect(self.hide)
        for key in ("Return", "Enter"):
            enter = QShortcut(QKeySequence(key), self)
            enter.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            enter.activated.connect(self._begin)
        self.names.textEdited.connect(self._count_names)
        for box in self.boxes.values():
            box.valueChanged.connect(self._show_total)
        self._show_total()

    def _box(self, key: str, least: int, most: int) -> QSpinBox:
        box = QSpinBox()
        box.setRange(least, most)
        box.setValue(getattr(FIRST, key))
        box.setAlignment(Qt.AlignmentFlag.AlignCenter)
        box.setMinimumWidth(WIDTH)
        return box

    @staticmethod
    def _steps(box: QSpinBox) -> QHBoxLayout:
        """The number, and a button on each side for the mouse; keys go to the number."""
        row = QHBoxLayout()
        row.setSpacing(6)
        for words, spoken, step in (("−", "Fewer", box.stepDown), ("+", "More", box.stepUp)):
            button = Button(words)
            button.setAccessibleName(f"{spoken}: {box.accessibleName()}")
            button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            button.clicked.connect(step)
            row.addWidget(button)
        row.insertWidget(1, box)
        row.addStretch(1)
        return row

    def _grid(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(20)
        grid.setVerticalSpacing(8)
        for n, (key, label, _) in enumerate(LINES):
            row = n if n == 0 else n + 1  # the names stand below how many they are
            self.boxes[key].setAccessibleName(label)
            grid.addWidget(plain(label), row, 0)
            grid.addLayout(self._steps(self.boxes[key]), row, 1)
            if n == 0:
                grid.addWidget(plain("Their names, commas between; may stay empty"), 1, 0)
                grid.addWidget(self.names, 1, 1)
                self.setTabOrder(self.boxes[key], self.names)
        grid.setColumnStretch(1, 1)
        return grid

    def open(self) -> None:
        """Show it, ready for the first number."""
        super().open()
        first = self.boxes["performers"]
        first.setFocus()
        first.selectAll()

    @property
    def counts(self) -> TrackCounts:
        """What stands in the boxes."""
        return TrackCounts(**{key: box.value() for key, box in self.boxes.items()})

    def _count_names(self, words: str) -> None:
        """As many performers as names."""
        names = names_in(words)
        if names:
            self.boxes["performers"].setValue(len(names))

    def _show_total(self, _value: int = 0) -> None:
        total = self.counts.total
        say(self.total, f"{total} input{'' if total == 1 else 's'}, from input 1 on")
        self.begin.setEnabled(total > 0)

    def _begin(self) -> None:
        if self.counts.total:
            self.hide()
            self.begun.emit(self.counts.rows(names_in(self.names.text())))
