"""The start page by keyboard and by mouse."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.views.start_page import StartPage
from engine.model import cautions
from engine.model.commands import Open
from tests.support.qt import pages

Key = Qt.Key


@pytest.fixture
def page(qtbot: QtBot) -> tuple[StartPage, list[Open]]:
    """The page with two inputs and two recent files; what it asks to open."""
    made, asked = StartPage(), []
    qtbot.addWidget(made)
    made.chosen.connect(asked.append)
    made.set_inputs(pages.INPUTS)
    made.set_recent(["/shoot/night.wav", "/shoot/night.toml"])
    with qtbot.waitActive(made):
        made.show()
    return made, asked


def test_inputs_show_their_channels(page: tuple[StartPage, list[Open]]) -> None:
    """Each live input is listed with its name and number of channels."""
    words = [page[0].inputs.item(n).text() for n in range(2)]
    assert "Field interface" in words[0]
    assert "16 inputs" in words[0]


def test_enter_watches_the_chosen_input(qtbot: QtBot, page: tuple[StartPage, list[Open]]) -> None:
    """Down and Enter watch the second input, by its name: indices move with what is plugged in."""
    made, asked = page
    qtbot.keyClick(made.inputs, Key.Key_Down)
    qtbot.keyClick(made.inputs, Key.Key_Return)
    assert asked == [Open(device="Built-in microphone, ALSA")]


def test_recent_plan_then_take(qtbot: QtBot, page: tuple[StartPage, list[Open]]) -> None:
    """Enter on a plan keeps it, Enter on a take opens it with that plan."""
    made, asked = page
    made.recent.setFocus()
    made.recent.setCurrentRow(1)
    qtbot.keyClick(made.recent, Key.Key_Return)
    assert asked == []
    assert made.plan_words.text() == "Plan: night.toml"
    made.recent.setCurrentRow(0)
    qtbot.keyClick(made.recent, Key.Key_Return)
    assert asked == [Open(take="/shoot/night.wav", plan="/shoot/night.toml")]


def test_demo_and_no_plan(page: tuple[StartPage, list[Open]]) -> None:
    """The demo take opens from its button; a plan can be let go again."""
    made, asked = page
    made.set_plan("/shoot/night.toml")
    made.drop_plan.click()
    made.demo.click()
    assert asked == [Open(demo=True)]


def test_without_inputs_nothing_can_be_watched(page: tuple[StartPage, list[Open]]) -> None:
    """While inputs are looked for, or where there are none, the button is off and words say so."""
    made, _ = page
    for inputs, words in ((None, "Looking"), ((), "No input found")):
        made.set_inputs(inputs)
        assert not made.watch.isEnabled()
        assert words in made.inputs.item(0).text()


def test_cautions_are_on_the_page(page: tuple[StartPage, list[Open]]) -> None:
    """All cautions stand on the start page."""
    from PySide6.QtWidgets import QLabel

    words = " ".join(label.text() for label in page[0].findChildren(QLabel))
    assert all(caution in words for caution in cautions.FIRST)


def test_keys_of_the_start_page(qtbot: QtBot, tmp_path: Path) -> None:
    """In the window D opens the demo take and X lets the plan go."""
    asked: list[Open] = []

    def factory(request: Open) -> None:
        asked.append(request)
        raise OSError("not today")

    window, _ = pages.make_window(tmp_path, factory)
    qtbot.addWidget(window)
    pages.show(window)
    window.start.find_inputs()
    window.start_page.set_plan("/shoot/night.toml")
    qtbot.keyClick(window.start_page.inputs, Key.Key_X)
    assert window.start_page.plan is None
    qtbot.keyClick(window.start_page.inputs, Key.Key_D)
    assert asked == [Open(demo=True)]
