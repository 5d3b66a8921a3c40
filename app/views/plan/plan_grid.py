"""The table of a plan with the keys of a spreadsheet."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QEvent, QItemSelectionModel, Qt
from PySide6.QtGui import QGuiApplication, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QAbstractItemDelegate, QAbstractItemView, QTableView, QWidget

from app.models.plan_sheet import by_letter
from app.models.plan_table import COLUMNS, PlanTable
from engine.model.messages import Kind, PackLevel

WORDS: Final = {"kind": tuple(Kind), "level": ("", *PackLevel)}
Hint = QAbstractItemDelegate.EndEditHint


class PlanGrid(QTableView):
    """Types into the chosen cell at once; Tab and Enter move; copies, pastes, fills, empties."""

    def __init__(self, model: PlanTable) -> None:
        super().__init__()
        self.table = model
        self.setModel(model)
        self.setAccessibleName("Tracks of the plan")
        self.verticalHeader().hide()
        self.setTabKeyNavigation(False)  # ours moves on, and leaves at the edges
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        triggers = QAbstractItemView.EditTrigger
        self.setEditTriggers(
            triggers.DoubleClicked | triggers.EditKeyPressed | triggers.AnyKeyPressed
        )
        self._at = (0, 0)
        self._cells: list[tuple[int, int]] = []
        model.modelAboutToBeReset.connect(self._remember)
        model.modelReset.connect(self._go_back)

    # Keys

    def event(self, event: QEvent) -> bool:
        """A letter begins a word in the chosen cell: no shortcut may take it first."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            plain = not event.modifiers() & ~Qt.KeyboardModifier.ShiftModifier
            if plain and event.text().isprintable() and event.text():
                event.accept()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Those of a spreadsheet; all others as Qt has them."""
        if self.state() == QAbstractItemView.State.EditingState:
            return  # what the editor of a cell left over
        for keys, act in (
            (QKeySequence.StandardKey.Copy, self.copy),
            (QKeySequence.StandardKey.Cut, self.cut),
            (QKeySequence.StandardKey.Paste, self.paste),
        ):
            if event.matches(keys):
                act()
                return
        control = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        alt = bool(event.modifiers() & Qt.KeyboardModifier.AltModifier)
        key = event.key()
        if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not control:
            self.go(1, 0)
        elif key in (Qt.Key.Key_Tab, Qt.Key.Key_Backtab):
            self.go(0, 1 if key == Qt.Key.Key_Tab else -1)
        elif key == Qt.Key.Key_Delete and not control:
            self.empty()
        elif control and key == Qt.Key.Key_D:
            self.fill_down()
        elif control and key in (Qt.Key.Key_Home, Qt.Key.Key_End):
            end = key == Qt.Key.Key_End
            self.choose(self.table.rowCount() - 1 if end else 0, len(COLUMNS) - 1 if end else 0)
        elif alt and key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self.move_row(-1 if key == Qt.Key.Key_Up else 1)
        elif not self._pick_by_letter(event):
            super().keyPressEvent(event)

    def focusNextPrevChild(self, forward: bool) -> bool:  # noqa: N802
        """Tab moves inside the table; at its end it leaves."""
        at, last = self.currentIndex(), self.table.columnCount() - 1
        edge = at.row() == self.table.rowCount() - 1 and at.column() == last
        if (forward and edge) or (not forward and (at.row(), at.column()) == (0, 0)):
            return super().focusNextPrevChild(forward)
        self.go(0, 1 if forward else -1)
        return True

    def _pick_by_letter(self, event: QKeyEvent) -> bool:
        index = self.currentIndex()
        words = WORDS.get(COLUMNS[index.column()]) if index.isValid() else None
        plain = not event.modifiers() & ~Qt.KeyboardModifier.ShiftModifier
        if words is None or not event.text().isalpha() or not plain:
            return False
        word = by_letter(words, event.text(), str(index.data()))
        if word is not None:
            self.table.setData(index, word)
        return True

    def go(self, rows: int, columns: int) -> None:
        """Choose the cell so far away; over an edge to the next or the last row."""
        at, wide, high = self.currentIndex(), self.table.columnCount(), self.table.rowCount()
        if not at.isValid() or not high:
            return
        place = (at.row() + rows) * wide + at.column() + columns
        place = max(0, min(place, wide * high - 1)) if columns else place
        if 0 <= place < wide * high:
            self.choose(place // wide, place % wide)

    def _remember(self) -> None:
        if self.currentIndex().isValid():
            self._at = self.currentIndex().row(), self.currentIndex().column()
        self._cells = self._chosen()

    def _go_back(self) -> None:
        """Every change makes the table anew: stay on the cell, and keep what was chosen."""
        row = min(self._at[0], self.table.rowCount() - 1)
        if row >= 0:
            self.choose(row, self._at[1])
        for cell in self._cells:
            flag = QItemSelectionModel.SelectionFlag.Select
            self.selectionModel().select(self.table.index(*cell), flag)

    def choose(self, row: int, column: int) -> None:
        """That cell alone, whichever keys are held down."""
        index = self.table.index(row, column)
        flag = QItemSelectionModel.SelectionFlag.ClearAndSelect
        self.selectionModel().setCurrentIndex(index, flag)
        self.scrollTo(index)

    def closeEditor(self, editor: QWidget, hint: Hint) -> None:  # noqa: N802
        """What was typed is in: go on as in a spreadsheet, to the next cell or the one below."""
        super().closeEditor(editor, Hint.NoHint)
        if hint is Hint.EditNextItem:
            self.go(0, 1)
        elif hint is Hint.EditPreviousItem:
            self.go(0, -1)
        elif hint is Hint.SubmitModelCache:
            self.go(1, 0)
        self.setFocus()

    # What it does with the chosen cells

    def _chosen(self) -> list[tuple[int, int]]:
        """Rows and columns of the chosen cells, in order."""
        return sorted((i.row(), i.column()) for i in self.selectionModel().selectedIndexes())

    def rows(self) -> list[int]:
        """Rows in which a cell is chosen."""
        return sorted({row for row, _ in self._chosen()})

    def copy(self) -> None:
        """The chosen cells to the clipboard, as a spreadsheet takes them."""
        QGuiApplication.clipboard().setText(self.table.copied(self._chosen()))

    def cut(self) -> None:
        """The same, and empty them."""
        self.copy()
        self.empty()

    def paste(self) -> None:
        """What a spreadsheet put into the clipboard, from the chosen cell on."""
        at = self.currentIndex()
        if at.isValid():
            self.table.paste(at.row(), at.column(), QGuiApplication.clipboard().text())

    def empty(self) -> None:
        """Empty the chosen cells; an input is never empty."""
        self.table.set_cells("empty cells", [(row, col, "") for row, col in self._chosen() if col])

    def fill_down(self) -> None:
        """The top cell of each chosen column into those below it; inputs count on from it."""
        chosen = self._chosen()
        top = {col: row for row, col in reversed(chosen)}
        changes = [
            (row, col, counted_on(self.table.words(top[col], COLUMNS[col]), row - top[col], col))
            for row, col in chosen
            if row != top[col]
        ]
        self.table.set_cells("fill down", changes)

    def add_row(self) -> None:
        """A fresh track at the end, ready for its name."""
        self.table.add()
        self.choose(self.table.rowCount() - 1, COLUMNS.index("name"))

    def remove_rows(self) -> None:
        """Take the rows out in which a cell is chosen, and stay where they were."""
        rows = self.rows()
        if rows:
            self._at = rows[0], self.currentIndex().column()
            self.table.remove_rows(rows)
            self.choose(min(rows[0], self.table.rowCount() - 1), self._at[1])

    def move_row(self, by: int) -> None:
        """Move the row of the chosen cell up or down."""
        at = self.currentIndex()
        row, column = at.row(), at.column()
        if self.table.move(row, by):
            self.choose(row + by, column)

    def swap_inputs(self) -> bool:
        """Exchange the inputs of two chosen rows; False unless two are chosen."""
        rows = self.rows()
        if len(rows) != 2:
            return False
        self.table.swap_inputs(*rows)
        return True


def counted_on(words: str, rows: int, column: int) -> str:
    """What a cell so many rows further down gets: no two tracks have the same input."""
    if COLUMNS[column] == "input" and words.isdecimal():
        return str(int(words) + rows)
    return words
