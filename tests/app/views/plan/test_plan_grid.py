"""The table of a plan by keyboard, as a spreadsheet."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QItemSelectionModel, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from app.models.plan_table import COLUMNS, PlanTable
from app.views.plan.plan_grid import PlanGrid
from engine.plan.template import new_plan

Key = Qt.Key


@pytest.fixture
def grid(qtbot: QtBot) -> PlanGrid:
    """Four tracks, the name of the first chosen."""
    window = QWidget()
    qtbot.addWidget(window)
    model = PlanTable(new_plan(["One", "Two", "Three", "Four"]), None, window)
    made = PlanGrid(model)
    made.setParent(window)
    made.host = window  # type: ignore[attr-defined]  # or Python would let it go
    made.resize(900, 400)
    window.show()
    QTest.qWaitForWindowActive(window)
    made.setFocus()
    made.choose(0, 1)
    return made


def focus(grid: PlanGrid) -> QWidget:
    """What keys go to: the table, or the editor of a cell."""
    return grid.window().focusWidget() or grid


def keys(grid: PlanGrid, words: str) -> None:
    """Type letter by letter."""
    for letter in words:
        QTest.keyClicks(focus(grid), letter)


def press(
    grid: PlanGrid, key: Key, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier
) -> None:
    """One key."""
    QTest.keyClick(focus(grid), key, modifier)
    QApplication.processEvents()  # what was typed is taken over by a queued call


def names(grid: PlanGrid) -> list[str]:
    """The names from top to bottom."""
    return [grid.table.words(n, "name") for n in range(grid.table.rowCount())]


def test_typing_replaces_and_enter_goes_down(grid: PlanGrid) -> None:
    """Two names are typed in a row without a key between that opens a cell."""
    keys(grid, "Foreman")
    press(grid, Key.Key_Return)
    keys(grid, "Rigger")
    press(grid, Key.Key_Return)
    assert names(grid) == ["Foreman", "Rigger", "Three", "Four"]
    assert (grid.currentIndex().row(), grid.currentIndex().column()) == (2, 1)


def test_tab_goes_on_and_letters_pick_a_kind(grid: PlanGrid) -> None:
    """From the name to the kind, which its first letter chooses; who and level follow."""
    keys(grid, "Boom")
    press(grid, Key.Key_Tab)
    keys(grid, "b")
    press(grid, Key.Key_Tab)
    keys(grid, "Square")
    press(grid, Key.Key_Tab)
    assert grid.table.words(0, "kind") == "boom"
    assert grid.table.words(0, "who") == "Square"
    assert COLUMNS[grid.currentIndex().column()] == "level"


def choose(grid: PlanGrid, *rows: int, column: int = 1) -> None:
    """Choose these cells."""
    for row in rows:
        flag = QItemSelectionModel.SelectionFlag.Select
        grid.selectionModel().select(grid.table.index(row, column), flag)


def test_del_empties_cells_and_fill_goes_down(grid: PlanGrid) -> None:
    """Del leaves the rows; Ctrl+D repeats the top cell."""
    choose(grid, 1, 2)
    press(grid, Key.Key_D, Qt.KeyboardModifier.ControlModifier)
    assert names(grid) == ["One", "One", "One", "Four"]
    choose(grid, 0, 1)
    press(grid, Key.Key_Delete)
    assert grid.table.rowCount() == 4
    assert names(grid)[0] == ""
    assert grid._chosen() == [(0, 1), (1, 1), (2, 1)]


def test_rows_are_copied_pasted_and_moved(grid: PlanGrid) -> None:
    """What was copied is text for a spreadsheet; Alt and an arrow move a row."""
    choose(grid, 1)
    press(grid, Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QGuiApplication.clipboard().text() == "One\nTwo"
    grid.choose(2, 1)
    press(grid, Key.Key_V, Qt.KeyboardModifier.ControlModifier)
    assert names(grid) == ["One", "Two", "One", "Two"]
    grid.choose(0, 1)
    press(grid, Key.Key_Down, Qt.KeyboardModifier.AltModifier)
    assert [grid.table.words(n, "input") for n in range(2)] == ["2", "1"]


def test_two_rows_swap_their_inputs(grid: PlanGrid) -> None:
    """Two chosen rows; with one nothing happens."""
    assert not grid.swap_inputs()
    choose(grid, 3)
    assert grid.swap_inputs()
    assert [grid.table.words(n, "input") for n in (0, 3)] == ["4", "1"]


def test_inputs_count_on_when_filled_down(grid: PlanGrid) -> None:
    """Ctrl+D in the column of inputs numbers the rows below, as no two tracks have the same."""
    grid.choose(0, 0)
    keys(grid, "5")
    press(grid, Key.Key_Return)
    grid.choose(0, 0)
    choose(grid, 1, 2, 3, column=0)
    press(grid, Key.Key_D, Qt.KeyboardModifier.ControlModifier)
    assert [grid.table.words(n, "input") for n in range(4)] == ["5", "6", "7", "8"]


def test_the_chosen_cell_is_seen_after_every_key_with_ctrl(grid: PlanGrid) -> None:
    """Ctrl+Home and Ctrl+End choose, and where rows went the one in their place is chosen."""
    for key, cell in ((Key.Key_End, (3, len(COLUMNS) - 1)), (Key.Key_Home, (0, 0))):
        press(grid, key, Qt.KeyboardModifier.ControlModifier)
        assert grid._chosen() == [cell]
    grid.choose(1, 1)
    choose(grid, 2)
    grid.remove_rows()
    assert names(grid) == ["One", "Four"]
    assert grid._chosen() == [(1, 1)]


def test_cells_are_cut_and_pasted_elsewhere(grid: PlanGrid) -> None:
    """Ctrl+X takes them along; Ctrl+V puts them where they belong."""
    choose(grid, 1)
    press(grid, Key.Key_X, Qt.KeyboardModifier.ControlModifier)
    assert names(grid) == ["", "", "Three", "Four"]
    grid.choose(1, 1)
    press(grid, Key.Key_V, Qt.KeyboardModifier.ControlModifier)
    assert names(grid) == ["", "One", "Two", "Four"]
