"""A plan made or opened on the start page, edited, saved and used for the next watch."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.views.plan import plan_file
from app.views.plan.plan_page import PlanPage
from app.views.plan.plan_source import PlanSource
from app.window.main_window import MainWindow
from engine.plan.load import load_plan, parse_plan
from tests.app.controllers.test_plan_live import TEXT, put
from tests.support.qt import pages

Key = Qt.Key


@pytest.fixture
def window(tmp_path: Path, qtbot: QtBot) -> MainWindow:
    """The start page with its inputs."""
    made, _ = pages.make_window(tmp_path)
    qtbot.addWidget(made)
    made.resize(1440, 900)
    pages.show(made)
    made.start.find_inputs()
    return made


def page_of(window: MainWindow) -> PlanPage:
    """The plan's page."""
    page = window.layer.current
    assert isinstance(page, PlanPage)
    return page


def save_to(monkeypatch: pytest.MonkeyPatch, path: Path) -> None:
    """What the user will answer when asked for a file to save in."""
    monkeypatch.setattr(plan_file, "ask_where", lambda *_: str(path) if path.name else "")


def test_from_the_chosen_input_by_keyboard(
    window: MainWindow, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """M, I: a row an input. Ctrl+Enter asks for a file, and the next watch goes by it."""
    save_to(monkeypatch, tmp_path / "tonight.toml")
    qtbot.keyClick(window.start_page.inputs, Key.Key_M)
    assert isinstance(window.layer.current, PlanSource)
    qtbot.keyClick(window.layer.current, Key.Key_I)
    page = page_of(window)
    assert page.model.rowCount() == 16
    put(page.model, 3, "name", "Boom scaffold")
    put(page.model, 4, "input", "17")
    assert "allowed: 1 to 16" in page.state.text()
    page.undo.click()
    qtbot.keyClick(page.table, Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert not window.layer.covers
    assert window.start_page.plan == str(tmp_path / "tonight.toml")
    assert load_plan(tmp_path / "tonight.toml").track(4).name == "Boom scaffold"
    assert "# kind       lav | boom" in (tmp_path / "tonight.toml").read_text(encoding="utf-8")
    assert window.start_page.plan_words.text() == "Plan: tonight.toml · 16 tracks"


def test_from_a_take(window: MainWindow, tmp_path: Path) -> None:
    """A row a channel; a take that is none is said on the start page."""
    soundfile.write(tmp_path / "night.wav", np.zeros((4800, 3), np.float32), 48_000)
    window.first_plans.from_take(str(tmp_path / "night.wav"))
    assert page_of(window).model.rowCount() == 3
    assert page_of(window).model.title == "night"
    window.layer.hide()
    (tmp_path / "text.wav").write_text("no sound")
    window.first_plans.from_take(str(tmp_path / "text.wav"))
    assert not window.layer.covers
    assert "text.wav" in window.start_page.error.text()


def test_an_existing_plan_keeps_its_comments(
    window: MainWindow, qtbot: QtBot, tmp_path: Path
) -> None:
    """E opens the chosen plan; it is written back into its file, all else as it was."""
    path = tmp_path / "night.toml"
    path.write_text(TEXT, encoding="utf-8")
    window.start_page.open_paths([str(path)])
    qtbot.keyClick(window.start_page, Key.Key_E)
    page = page_of(window)
    put(page.model, 0, "pack", "17")
    page.use.click()
    assert path.read_text(encoding="utf-8") == TEXT.replace('pack = "1"', 'pack = "17"')
    assert window.start_page.plan == str(path)


def test_unsaved_words_outlive_the_page(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    """Esc closes it; E, or M and G, go on where one was."""
    path = tmp_path / "night.toml"
    path.write_text(TEXT, encoding="utf-8")
    window.first_plans.edit(str(path))
    put(page_of(window).model, 0, "name", "Verger")
    qtbot.keyClick(window, Key.Key_Escape)
    window.first_plans.edit(str(path))
    assert page_of(window).model.words(0, "name") == "Verger"
    qtbot.keyClick(window, Key.Key_Escape)
    window.first_plans.ask()
    qtbot.keyClick(window.layer.current, Key.Key_G)
    assert page_of(window).model.words(0, "name") == "Verger"


def test_a_file_that_is_no_plan_is_told(window: MainWindow, tmp_path: Path) -> None:
    """One line on the start page, with the line in the file; nothing is opened or overwritten."""
    path = tmp_path / "bad.toml"
    path.write_text("[take\n", encoding="utf-8")
    window.first_plans.edit(str(path))
    assert not window.layer.covers
    assert "line 1" in window.start_page.error.text()
    window.first_plans.edit(str(tmp_path / "gone.toml"))
    assert "gone.toml" in window.start_page.error.text()


def test_a_file_that_cannot_be_written_is_told(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page stays open with the words on it."""
    save_to(monkeypatch, tmp_path / "nowhere" / "x.toml")
    window.first_plans.from_input(2)
    page = page_of(window)
    page.use.click()
    assert window.layer.covers
    assert "not saved" in page.state.text()
    assert window.start_page.plan is None
    assert parse_plan(page.model.text, 2)
