"""A plan as a table: its text is the one truth, every edit changes it and can be taken back."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    Qt,
    Signal,
)
from PySide6.QtGui import QUndoCommand, QUndoStack

from app.models.plan_sheet import (
    followers,
    free_input,
    heads_of,
    in_a_cell,
    shown,
    to_cells,
    to_text,
)
from engine.plan.edit import (
    ORDER,
    add_track,
    move_track,
    remove_track,
    set_limits,
    set_take,
    set_value,
    swap_inputs,
)
from engine.plan.load import PlanError, PlanMistake, parse_plan
from engine.plan.toml_lines import toml_lines

Index = QModelIndex | QPersistentModelIndex

LIMITS: Final = "limits"
COLUMNS: Final = (*ORDER, LIMITS)
HEADS: Final = (
    "Input",
    "Name",
    "Kind",
    "Who",
    "Level",
    "Pack",
    "Placement",
    "Receiver",
    "Battery",
    "Limits",
)
HELP: Final = {
    "kind": "lav, boom, ambience, comms, timecode, unused",
    "level": "main or safety: the two packs of one who; else empty",
    "battery": "how long a fresh one lasts: 4h, 3h30, 90min",
    LIMITS: "name = value, name = value: silent_red_s = 60.0",
}
MISTAKE_ROLE: Final = Qt.ItemDataRole.UserRole
_NO_EMPTY: Final = ("kind", "level", "battery")
"""Where an empty text would be a mistake: the key is taken out instead."""


class _Change(QUndoCommand):
    """One edit: the text before and after."""

    def __init__(self, words: str, put: Callable[[str], None], before: str, after: str) -> None:
        super().__init__(words)
        self._put, self._before, self._after = put, before, after

    def undo(self) -> None:
        """As before."""
        self._put(self._before)

    def redo(self) -> None:
        """As after."""
        self._put(self._after)


class PlanTable(QAbstractTableModel):
    """One row a track, in the file's order. `checked` says that the mistakes may be others."""

    checked = Signal()

    def __init__(self, text: str, inputs: int | None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.undo_stack = QUndoStack(self)
        self.inputs = inputs
        self.mistakes: tuple[PlanMistake, ...] = ()
        self._put(text)

    @property
    def title(self) -> str:
        """What the plan calls the take."""
        return str(tomllib.loads(self.text).get("take", {}).get("title", ""))

    # ---- the text ----------------------------------------------------------------------------

    def _put(self, text: str) -> None:
        rows = tomllib.loads(text).get("track", [])
        self.beginResetModel()
        self.text, self._rows = text, rows
        try:
            parse_plan(text, self.inputs)
            self.mistakes = ()
        except PlanError as error:
            self.mistakes = error.mistakes
        lines = toml_lines(text)
        wrong = {mistake.line: in_a_cell(mistake.message) for mistake in self.mistakes}
        self._wrong = {path: wrong[line] for path, line in lines.items() if line in wrong}
        self._cells = {line: path for path, line in lines.items() if path[:1] == ("track",)}
        self.endResetModel()
        self.checked.emit()

    def told(self, mistake: PlanMistake) -> str:
        """That mistake by its place in the table; one outside of it by its line in the file."""
        path = self._cells.get(mistake.line, ())
        if len(path) < 2:
            return str(mistake)
        row = int(path[1])
        key = str(path[2]) if len(path) > 2 else "input"
        head = HEADS[COLUMNS.index(key)] if key in COLUMNS else key
        where = f"Row {row + 1} (input {self.words(row, 'input')}), {head}"
        return f"{where}: {in_a_cell(mistake.message)}"

    def change(self, words: str, text: str) -> None:
        """Take over a changed text, so that it can be taken back."""
        if text != self.text:
            self.undo_stack.push(_Change(words, self._put, self.text, text))

    def add(self) -> None:
        """A fresh track on the first input that is free."""
        used = {row.get("input") for row in self._rows}
        number = next(n for n in range(1, len(used) + 2) if n not in used)
        self.change("add a track", add_track(self.text, number))

    def remove_rows(self, rows: Iterable[int]) -> None:
        """Take these tracks out, as one step."""
        text = self.text
        for row in sorted({r for r in rows if 0 <= r < len(self._rows)}, reverse=True):
            text = remove_track(text, row)
        self.change("remove tracks", text)

    def move(self, row: int, by: int) -> bool:
        """Move that track up or down; False at an edge."""
        if not 0 <= row + by < len(self._rows):
            return False
        self.change("move a track", move_track(self.text, row, by))
        return True

    def swap_inputs(self, one: int, other: int) -> None:
        """Exchange the inputs of two rows."""
        inputs = [self._rows[row].get("input") for row in (one, other)]
        if all(isinstance(number, int) for number in inputs):
            self.change("swap two inputs", swap_inputs(self.text, *inputs))

    def take(self, key: str) -> str:
        """What the plan says of the take under that key."""
        return str(tomllib.loads(self.text).get("take", {}).get(key, ""))

    def set_take(self, key: str, value: str) -> None:
        """Say something of the take."""
        if value != self.take(key):
            self.change(f"{key.replace('_', ' ')} of the take", set_take(self.text, key, value))

    def set_cells(self, words: str, changes: Iterable[tuple[int, int, str]]) -> None:
        """Change cells (row, column, text) as one step; what can't stand in a plan is left out."""
        text = self.text
        for row, column, typed in changes:
            key = COLUMNS[column]
            if key != LIMITS and typed.strip() != self.words(row, key):
                text = _with(text, row, key, typed.strip(), self._rows[row])
        self.change(words, text)

    def copied(self, cells: Iterable[tuple[int, int]]) -> str:
        """These cells as a spreadsheet takes them."""
        rows: dict[int, list[str]] = {}
        for row, column in cells:
            rows.setdefault(row, []).append(self.words(row, COLUMNS[column]))
        return to_text(list(rows.values()))

    def paste(self, row: int, column: int, text: str) -> None:
        """Rows from a spreadsheet, with or without heads, from that cell on, as one step.

        Rows that the plan lacks are added, on the inputs that they name or the next free ones.
        """
        cells = to_cells(text)
        keys = heads_of(
            cells[0], {head.lower(): key for key, head in zip(COLUMNS, HEADS, strict=True)}
        )
        if keys is not None:
            cells = cells[1:]
        else:
            keys = list(COLUMNS[column:])
        changed, rows = self.text, [dict(one) for one in self._rows]
        for at, line in enumerate(cells, start=row):
            values = {k: v for k, v in zip(keys, line, strict=False) if k and k != LIMITS}
            if at >= len(rows):
                used = [one["input"] for one in rows if isinstance(one.get("input"), int)]
                named = values.get("input", "")
                number = int(named) if named.isdecimal() else free_input(used)
                changed = add_track(changed, number)
                rows.append({"input": number})
            for key, value in values.items():
                if value != str(rows[at].get(key, "")) and (value or key != "input"):
                    changed = _with(changed, at, key, value, rows[at])
        self.change("paste", changed)

    # ---- what Qt asks ------------------------------------------------------------------------

    def rowCount(self, parent: Index | None = None) -> int:  # noqa: N802
        """How many tracks."""
        return 0 if parent is not None and parent.isValid() else len(self._rows)

    def columnCount(self, parent: Index | None = None) -> int:  # noqa: N802
        """How many keys."""
        return 0 if parent is not None and parent.isValid() else len(COLUMNS)

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Every cell can be edited."""
        flags = super().flags(index)
        return flags | Qt.ItemFlag.ItemIsEditable if index.isValid() else flags

    def headerData(  # noqa: N802
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Names of the columns."""
        if role == Qt.ItemDataRole.DisplayRole and orientation is Qt.Orientation.Horizontal:
            return HEADS[section]
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """The cell's words, and what is wrong with it."""
        if not index.isValid():
            return None
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole):
            return self.words(index.row(), COLUMNS[index.column()])
        if role == MISTAKE_ROLE:
            return self.mistake(index.row(), COLUMNS[index.column()])
        if role == Qt.ItemDataRole.AccessibleTextRole:
            key = COLUMNS[index.column()]
            wrong = self.mistake(index.row(), key)
            spoken = f"{HEADS[index.column()]}: {self.words(index.row(), key) or 'empty'}"
            return f"{spoken}. Wrong: {wrong}" if wrong else spoken
        return None

    def words(self, row: int, key: str) -> str:
        """What stands in a cell."""
        value = self._rows[row].get(key, "")
        if key == LIMITS and isinstance(value, dict):
            return ", ".join(f"{name} = {shown(one)}" for name, one in value.items())
        return str(value)

    def mistake(self, row: int, key: str) -> str:
        """What is wrong with a cell, empty where nothing is."""
        place = ("track", row, key)
        if key == LIMITS:
            mistakes = (words for path, words in self._wrong.items() if path[:3] == place)
            return next(mistakes, "")
        whole = self._wrong.get(("track", row), "") if key == "input" else ""
        return self._wrong.get(place, whole)

    def setData(  # noqa: N802
        self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole
    ) -> bool:
        """Take over what was typed; False where it can't be written into the plan at all."""
        if role != Qt.ItemDataRole.EditRole:
            return False
        row, key = index.row(), COLUMNS[index.column()]
        typed = str(value).strip()
        if typed == self.words(row, key):
            return True
        try:
            text = self._edited(row, key, typed)
            for n, other, words in followers(self._rows, row, key, typed):
                text = _with(text, n, other, words, self._rows[n])
        except (ValueError, TypeError):
            return False
        self.change(f"{HEADS[index.column()]} of track {row + 1}", text)
        return True

    def _edited(self, row: int, key: str, typed: str) -> str:
        if key == LIMITS:
            return set_limits(self.text, row, tomllib.loads(typed.replace(",", "\n")))
        return _with(self.text, row, key, typed, self._rows[row])


def _with(text: str, row: int, key: str, typed: str, present: Mapping[str, Any]) -> str:
    """The plan with that cell changed; an empty one is taken out where it may not be empty."""
    if key == "input":
        return set_value(text, row, key, int(typed) if typed.isdecimal() else typed)
    if not typed and (key in _NO_EMPTY or key not in present):
        return set_value(text, row, key, None)
    return set_value(text, row, key, typed)
