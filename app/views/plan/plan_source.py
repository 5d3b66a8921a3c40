"""Asks from what a new plan is to be made."""

from __future__ import annotations

from typing import ClassVar

from PySide6.QtCore import Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QWidget

from app.models.plan_rows import TEMPLATES
from app.views.widgets.basics import Button, plain
from app.views.widgets.overlay import Overlay

WORDS = (
    "A plan says what each input carries: who wears which pack, where it sits, through which "
    "receiver. Take the names over from what you have; a table is a spreadsheet saved as CSV."
)


class PlanSource(Overlay):
    """One button for each way; each closes the page."""

    SCROLLS: ClassVar = True

    from_input = Signal()
    from_used = Signal()
    from_take = Signal()
    from_folder = Signal()
    from_table = Signal()
    from_template = Signal(int)
    from_counts = Signal()
    go_on = Signal()

    def __init__(self, parent: QWidget, named: str, draft: bool, used: int = 0) -> None:
        """`named` is the live input that is chosen, empty for none; `draft`: one was begun;
        `used`: on so many of its inputs something arrives."""
        super().__init__(parent)
        self.setAccessibleName("Make a plan")
        self.column.addWidget(plain("Make a plan", "title"))
        self.column.addWidget(plain(WORDS, wrap=True))
        live = Button(f"From {named or 'a live input: none chosen'}", "I", main=True)
        live.setEnabled(bool(named))
        in_use = Button(f"From the {used} inputs with a signal", "S", main=True)
        ways = [(in_use.as_primary(), self.from_used, "S")] if used else []
        ways += [
            (live, self.from_input, "I"),
            (Button("From a take…", "T", main=True), self.from_take, "T"),
            (Button("From a folder of mono files…", "F", main=True), self.from_folder, "F"),
            (Button("From a table or another plan…", "C", main=True), self.from_table, "C"),
        ]
        if draft:
            ways.append((Button("Continue the unfinished plan", "G", main=True), self.go_on, "G"))
        for button, signal, letter in ways:
            self.column.addWidget(button)
            button.clicked.connect(self.hide)
            button.clicked.connect(signal)
            QShortcut(QKeySequence(letter), self).activated.connect(button.click)
        self.column.addWidget(plain("Or begin with the rows of a usual set:", "dim"))
        for number, (name, _) in enumerate(TEMPLATES, start=1):
            button = Button(name, str(number))
            self.column.addWidget(button)
            button.clicked.connect(self.hide)
            button.clicked.connect(lambda _on=False, n=number: self.from_template.emit(n - 1))
            QShortcut(QKeySequence(str(number)), self).activated.connect(button.click)
        other = Button("Other numbers of each…", "O")
        self.column.addWidget(other)
        other.clicked.connect(self.hide)
        other.clicked.connect(self.from_counts)
        QShortcut(QKeySequence("O"), self).activated.connect(other.click)
        row = QHBoxLayout()
        cancel = Button("Cancel", "Esc")
        cancel.clicked.connect(self.hide)
        row.addWidget(cancel)
        row.addStretch(1)
        self.column.addLayout(row)
