"""The plan in the window: a table over the plan's text, checked, undone, used, saved, printed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QAbstractItemModelTester
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from app.models.plan_table import COLUMNS, HEADS, MISTAKE_ROLE, PlanTable
from app.report.print_table import table
from app.views.header import NO_PLAN
from app.views.plan import plan_file
from app.views.plan.plan_page import PlanPage
from app.views.widgets.overlay import Question
from app.window.main_window import MainWindow
from engine.model.commands import ChangePlan, Open
from engine.model.tracks import plan_for
from engine.plan.load import load_plan, parse_plan
from tests.support.qt import fake_client, pages

TEXT = """\
# Tower night
[take]
title = "Raising the bell"

[[track]]
input = 1
name = "Foreman main"  # the loud one
kind = "lav"
who = "Foreman"
level = "main"
pack = "1"

[[track]]
input = 2
name = "<b>Boom</b>"
kind = "boom"
[track.limits]
silent_red_s = 60.0
"""
EDIT = Qt.ItemDataRole.EditRole


def at(model: PlanTable, row: int, key: str) -> object:
    """The index of a cell."""
    return model.index(row, COLUMNS.index(key))


def put(model: PlanTable, row: int, key: str, words: str) -> bool:
    """Type into a cell."""
    return model.setData(at(model, row, key), words)


def test_the_table_is_a_proper_model(qapp: object) -> None:
    """Qt's own model tester finds nothing wrong, through edits, undo, a track more and less."""
    model = PlanTable(TEXT, None)
    QAbstractItemModelTester(model, QAbstractItemModelTester.FailureReportingMode.Fatal)
    put(model, 0, "name", "Verger")
    model.add()
    model.remove_rows([0])
    while model.undo_stack.canUndo():
        model.undo_stack.undo()
    assert model.text == TEXT


def test_an_edit_keeps_comments_and_can_be_taken_back(qapp: object) -> None:
    """The cell changes in the text, the comment beside it stays; undo and redo go both ways."""
    model = PlanTable(TEXT, None)
    put(model, 0, "name", "Verger")
    assert 'name = "Verger"  # the loud one' in model.text
    after = model.text
    model.undo_stack.undo()
    assert model.text == TEXT
    model.undo_stack.redo()
    assert model.text == after


@pytest.mark.parametrize(
    ("key", "words", "wrong"),
    [
        ("kind", "lavv", "did you mean"),
        ("level", "loud", "allowed"),
        ("battery", "long", "3h30"),
        ("input", "2", "taken by line"),
        ("input", "x", "whole number"),
        ("limits", "silent_redd_s = 3.0", "did you mean"),
    ],
)
def test_a_mistake_is_shown_in_its_cell(qapp: object, key: str, words: str, wrong: str) -> None:
    """What the plan's own check says stands at the cell it is about, or at the pair's other."""
    model = PlanTable(TEXT, None)
    assert put(model, 0, key, words)
    assert model.mistakes
    found = [str(at(model, row, key).data(MISTAKE_ROLE)) for row in (0, 1)]
    assert any(wrong in words for words in found)
    model.undo_stack.undo()
    assert model.mistakes == ()


def test_limits_are_typed_as_the_plan_has_them(qapp: object) -> None:
    """Name = value, name = value; what is no such thing is refused and changes nothing."""
    model = PlanTable(TEXT, None)
    assert model.words(1, "limits") == "silent_red_s = 60.0"
    assert put(model, 1, "limits", 'silent_red_s = 90.0, hum = "off"')
    assert parse_plan(model.text).track(2).limits == {"silent_red_s": 90.0, "hum": "off"}
    before = model.text
    assert not put(model, 1, "limits", "quite long")
    assert model.text == before


def test_emptied_cells_leave_no_mistake(qapp: object) -> None:
    """A level, kind or battery that is emptied is taken out of the plan."""
    model = PlanTable(TEXT, None)
    for key in ("level", "kind", "battery", "who", "pack"):
        put(model, 0, key, "")
    assert model.mistakes == ()
    assert parse_plan(model.text).track(1).level is None


@pytest.fixture
def window(tmp_path: Path, qtbot: QtBot) -> MainWindow:
    """The board of a watch that goes by that plan."""
    return made(tmp_path, qtbot)


def made(folder: Path, qtbot: QtBot | None, text: str = TEXT) -> MainWindow:
    """The same, for screenshots too."""
    plan = parse_plan(text)
    watching = replace(fake_client.watch(plan), plan_text=text)
    client = fake_client.FakeClient(
        watching, lambda call: fake_client.snapshot(plan, now_s=fake_client.NOW_S + 0.05 * call)
    )
    window, _ = pages.make_window(folder, fake_client.factory_of(client))
    window.client = client  # type: ignore[attr-defined]
    if qtbot is not None:
        qtbot.addWidget(window)
    window.resize(1440, 900)
    pages.show(window)
    window.open(Open(device=0))
    window.bridge._timer.stop()
    window.bridge.poll()
    return window


def page_of(window: MainWindow) -> PlanPage:
    """The plan's page."""
    page = window.layer.current
    assert isinstance(page, PlanPage)
    return page


def test_by_keyboard_from_key_to_use(window: MainWindow, qtbot: QtBot) -> None:
    """P opens, typing edits, Ctrl+Enter goes by it: the text that the engine gets is the edited."""
    qtbot.keyClick(window, Qt.Key.Key_P)
    page = page_of(window)
    assert page.table.hasFocus()
    qtbot.keyClicks(page.table, "V")
    editor = page.table.findChild(QLineEdit)
    assert editor is not None
    qtbot.keyClicks(editor, "erger no")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: page.model.words(0, "name") == "Verger no")
    qtbot.waitUntil(lambda: page.table.findChild(QLineEdit) is None)
    assert page.table.hasFocus()
    window.client.sent.clear()  # type: ignore[attr-defined]
    qtbot.keyClick(page.table, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    (sent,) = window.client.sent  # type: ignore[attr-defined]
    assert isinstance(sent, ChangePlan)
    assert parse_plan(sent.text).track(1).name == "Verger no"
    assert not window.layer.covers


def test_with_a_mistake_it_cannot_be_used(window: MainWindow, qtbot: QtBot) -> None:
    """While anything is wrong, use and save are off and the first mistake is said with its cell."""
    window.plans.show()
    page = page_of(window)
    put(page.model, 0, "kind", "lavv")
    assert not page.use.isEnabled()
    assert not page.save.isEnabled()
    assert page.state.text().startswith("Row 1 (input 1), Kind: did you mean lav? allowed: lav, ")
    assert page.state.property("tone") == "red"
    page.undo.click()
    assert page.use.isEnabled()
    assert page.redo.isEnabled()
    assert not page.undo.isEnabled()


def test_a_draft_outlives_its_page(window: MainWindow, qtbot: QtBot) -> None:
    """Esc closes the page, not what was typed; undo still works when it is opened again."""
    window.plans.show()
    put(page_of(window).model, 0, "name", "Verger")
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    window.plans.show()
    assert page_of(window).model.words(0, "name") == "Verger"
    page_of(window).undo.click()
    assert page_of(window).model.text == TEXT


def test_it_is_saved_with_its_comments(window: MainWindow, tmp_path: Path) -> None:
    """The file holds the text as edited, loads as a plan, and is among the recent files."""
    window.plans.show()
    put(page_of(window).model, 0, "pack", "17")
    path = tmp_path / "tonight.toml"
    window.plans.save_to(str(path))
    assert load_plan(path).track(1).pack == "17"
    assert "# the loud one" in path.read_text(encoding="utf-8")
    assert window.prefs.recent[0] == str(path)
    window.plans.save_to(str(tmp_path / "nowhere" / "x.toml"))
    assert "Plan saved" not in window.watch_page.footer.notice.text()


def changed(window: MainWindow) -> str:
    """The text of a plan that was changed and is in use; returns it."""
    window.plans.show()
    page = page_of(window)
    put(page.model, 0, "pack", "17")
    text = page.model.text
    page.use.click()
    window.plans.start(replace(fake_client.watch(parse_plan(text)), plan_text=text))
    window._live = False  # else a live watch is asked about as well
    return text


def test_use_now_says_whether_it_is_saved(window: MainWindow, tmp_path: Path) -> None:
    """In use and in no file, or in use and in which one."""
    changed(window)
    assert "not saved" in window.watch_page.footer.notice.text()
    window.plans.show()
    window.plans.save_to(str(tmp_path / "tonight.toml"))
    page_of(window).use.click()
    assert window.watch_page.footer.notice.text() == "Plan in use, saved as tonight.toml."


def test_closing_asks_while_the_plan_in_use_is_in_no_file(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Save it, go on without, or stay; once it is saved nothing is asked."""
    assert not window.plans.unsaved
    text = changed(window)
    assert not window.leaving.may_close()
    question = window.layer.current
    assert isinstance(question, Question)
    path = tmp_path / "tonight.toml"
    monkeypatch.setattr(plan_file, "ask_where", lambda *_: str(path))
    question.yes.click()
    assert path.read_text(encoding="utf-8") == text
    assert window.leaving.may_close()


def test_closing_goes_on_without_saving_where_that_is_wished(window: MainWindow) -> None:
    """The other button loses the change, knowingly; giving up saving closes nothing."""
    closed: list[None] = []
    window.leaving.close_wanted.disconnect()
    window.leaving.close_wanted.connect(lambda: closed.append(None))
    changed(window)
    window.leaving.save = lambda: False
    assert not window.leaving.may_close()
    window.layer.current.yes.click()  # type: ignore[union-attr]
    assert not closed
    assert not window.leaving.may_close()
    window.layer.current.other.click()  # type: ignore[union-attr]
    assert closed


def test_names_are_plain_on_paper(qapp: object) -> None:
    """A name with angle brackets is printed as it is."""
    model = PlanTable(TEXT, None)
    rows = [[model.words(n, key) for key in COLUMNS] for n in range(model.rowCount())]
    assert "<b>Boom</b>" in table("Plan", "", HEADS, rows).toPlainText()


def test_cells_say_what_they_are(qapp: object) -> None:
    """A screen reader gets column, value and mistake of each cell."""
    model = PlanTable(TEXT, None)
    put(model, 0, "kind", "lavv")
    said = str(at(model, 0, "kind").data(Qt.ItemDataRole.AccessibleTextRole))
    assert said.startswith("Kind: lavv. Wrong: did you mean")


@pytest.mark.parametrize("known", [False, True], ids=["none", "a plan"])
def test_a_watch_without_a_plan_says_so(known: bool, tmp_path: Path, qtbot: QtBot) -> None:
    """Every input as a lav may be a wall of red: one line tells why, and where a plan is made."""
    plan = fake_client.tower_plan() if known else plan_for([""] * 32)
    window, _, _ = pages.watching(tmp_path, plan)
    qtbot.addWidget(window)
    assert (NO_PLAN in window.watch_page.header.source.text()) is not known
