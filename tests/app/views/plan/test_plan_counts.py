"""How many of each a new plan begins with, asked by keys and by mouse."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from app.views.plan.plan_counts import PlanCounts
from app.views.plan.plan_page import PlanPage
from app.window.main_window import MainWindow
from engine.plan.load import parse_plan
from tests.support.qt import pages

Key = Qt.Key


@pytest.fixture
def window(tmp_path: Path, qtbot: QtBot) -> MainWindow:
    """The start page with its inputs."""
    made, _ = pages.make_window(tmp_path)
    qtbot.addWidget(made)
    made.resize(1280, 720)
    pages.show(made)
    made.start.find_inputs()
    return made


def focus(window: MainWindow) -> QWidget:
    """What keys go to."""
    widget = window.focusWidget()
    assert widget is not None
    return widget


def test_twelve_inputs_by_keyboard(window: MainWindow, qtbot: QtBot) -> None:
    """M, O, the names, a number in each line: Enter begins the plan, without a mistake."""
    qtbot.keyClick(window.start_page.inputs, Key.Key_M)
    qtbot.keyClick(focus(window), Key.Key_O)
    page = window.layer.current
    assert isinstance(page, PlanCounts)
    QApplication.processEvents()  # a page that scrolls is laid out with the next turn
    qtbot.keyClick(focus(window), Key.Key_Tab)
    qtbot.keyClicks(focus(window), "Foreman, Rigger, Ringer")
    assert page.boxes["performers"].value() == 3
    for number in ("2", "2", "2", "1", "1"):
        qtbot.keyClick(focus(window), Key.Key_Tab)
        qtbot.keyClicks(focus(window), number)
    assert page.total.text() == "12 inputs, from input 1 on"
    qtbot.keyClick(focus(window), Key.Key_Return)
    plan = window.layer.current
    assert isinstance(plan, PlanPage)
    tracks = parse_plan(plan.model.text).tracks
    assert [track.input for track in tracks] == list(range(1, 13))
    assert tracks[3].name == "Rigger safety"
    assert tracks[11].kind == "timecode"


def test_a_new_row_is_ready_for_its_name(window: MainWindow, qtbot: QtBot) -> None:
    """Ins adds it, and what is typed then is its name."""
    window.first_plans.from_template(2)
    page = window.layer.current
    assert isinstance(page, PlanPage)
    qtbot.keyClick(page.table, Key.Key_Insert)
    for letter in "Spare":
        qtbot.keyClicks(focus(window), letter)
    qtbot.keyClick(focus(window), Key.Key_Return)
    QApplication.processEvents()
    assert page.model.words(8, "name") == "Spare"


def test_the_mouse_has_a_button_for_each_step(window: MainWindow, qtbot: QtBot) -> None:
    """One fewer, one more; none of all is no plan."""
    page = PlanCounts(window.layer.below)
    window.layer.open(page)
    QApplication.processEvents()  # a page that scrolls is laid out with the next turn
    buttons = {button.accessibleName(): button for button in page.findChildren(QPushButton)}
    qtbot.mouseClick(buttons["More: Booms"], Qt.MouseButton.LeftButton)
    qtbot.mouseClick(buttons["Fewer: Performers"], Qt.MouseButton.LeftButton)
    assert (page.counts.booms, page.counts.performers) == (3, 3)
    for box in page.boxes.values():
        box.setValue(0)
    assert not page.begin.isEnabled()


def test_every_letter_begins_a_name(window: MainWindow, qtbot: QtBot) -> None:
    """N changes the look elsewhere; in a cell it is a letter."""
    window.first_plans.from_template(2)
    page = window.layer.current
    assert isinstance(page, PlanPage)
    look = window.look
    for letter in "No one":
        qtbot.keyClicks(focus(window), letter)
    qtbot.keyClick(focus(window), Key.Key_Return)
    QApplication.processEvents()
    assert page.model.words(0, "name") == "No one"
    assert window.look is look
