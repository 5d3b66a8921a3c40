"""Asks for a few words: one line each, Enter takes them, Esc leaves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLineEdit, QWidget

from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

LONGEST = 200


@dataclass(frozen=True, slots=True)
class Field:
    """One line to type: what it is, what stands in it, an example."""

    label: str
    value: str = ""
    hint: str = ""


class Prompt(Overlay):
    """`done` is called with the words of all fields once `mistake` finds none in them."""

    def __init__(
        self,
        parent: QWidget,
        title: str,
        fields: tuple[Field, ...],
        done: Callable[[tuple[str, ...]], None],
        mistake: Callable[[tuple[str, ...]], str],
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName(title)
        self._done, self._mistake = done, mistake
        self.column.addWidget(plain(title, "title"))
        self.lines = QGridLayout()
        self.lines.setHorizontalSpacing(16)
        self.edits = [self._line(field) for field in fields]
        self.column.addLayout(self.lines)
        self.wrong = plain("", "red")
        self.column.addWidget(self.wrong)
        self.wrong.hide()
        self.take, leave = (
            Button("Save", "Enter", main=True).as_primary(),
            Button("Cancel", "Esc", main=True),
        )
        row = QHBoxLayout()
        for button in (self.take, leave):
            row.addWidget(button)
        self.column.addLayout(row)
        self.take.clicked.connect(self.accept)
        leave.clicked.connect(self.hide)

    def _line(self, field: Field) -> QLineEdit:
        edit = QLineEdit(field.value)
        edit.setMaxLength(LONGEST)
        edit.setPlaceholderText(field.hint)
        edit.setAccessibleName(field.label)
        edit.setMinimumWidth(360)
        edit.returnPressed.connect(self.accept)
        label = plain(field.label)
        label.setBuddy(edit)
        at = self.lines.rowCount()
        self.lines.addWidget(label, at, 0)
        self.lines.addWidget(edit, at, 1)
        return edit

    def open(self) -> None:
        """Show it, ready to type."""
        super().open()
        self.edits[0].setFocus()
        self.edits[0].selectAll()

    def accept(self) -> None:
        """Take the words, unless something is wrong with them."""
        values = tuple(edit.text().strip() for edit in self.edits)
        wrong = self._mistake(values)
        if wrong:
            say(self.wrong, wrong)
            self.wrong.show()
            return
        self.hide()
        self._done(values)
