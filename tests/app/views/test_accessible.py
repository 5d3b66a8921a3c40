"""What a screen reader finds: names and roles, in Qt's own accessibility tree."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible, QAccessibleInterface
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLineEdit, QSlider, QWidget
from pytestqt.qtbot import QtBot

from app.window.main_window import MainWindow
from tests.support.qt import fake_client, pages

Name, Role = QAccessible.Text.Name, QAccessible.Role


@pytest.fixture
def window(tmp_path: Path, qtbot: QtBot) -> MainWindow:
    """A window watching the night at the tower with its faults."""
    made, _, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(made)
    return made


def interface(widget: QWidget) -> QAccessibleInterface:
    """How Qt tells that widget to assistive programs."""
    found = QAccessible.queryAccessibleInterface(widget)
    assert found is not None
    return found


def test_every_row_of_the_painted_board_is_there(window: MainWindow) -> None:
    """The board has a child for each track, named with its state, where its row is painted."""
    board = window.watch_page.board
    found = interface(board)
    rows = [found.child(n) for n in range(found.childCount())]
    names = [row.text(Name) for row in rows]
    assert len(names) == 14
    assert names[6] == "7 Foreman main, silent"
    assert "chest" in rows[6].text(QAccessible.Text.Description)
    assert {row.role() for row in rows} == {Role.StaticText}
    shown = [row for row in rows if not row.state().invisible]
    tops = [row.rect().top() for row in shown]
    assert tops == sorted(set(tops))
    assert len(shown) == 13
    for row, boxes in zip(shown, board.picture().layout.rows, strict=True):
        painted = (
            board.picture()
            .shifted(boxes.row)
            .translated(board.mapToGlobal(board.pos()) - board.pos())
        )
        assert painted.contains(row.rect())


def test_a_row_is_told_anew_when_its_state_changes(window: MainWindow) -> None:
    """Out of service is heard, not only seen."""
    window.watch_page.board.track_chosen.emit(1)
    window.acts.out_of_service()
    window.bridge.poll()
    assert interface(window.watch_page.board).child(0).text(Name).endswith("out of service")


PAGES = {
    "board": lambda w: None,
    "glance": lambda w: w.navigation.toggle_glance(),
    "help": lambda w: w.settings.show_help(),
    "settings": lambda w: w.settings.show_settings(),
    "history": lambda w: w.history.show(),
    "battery": lambda w: (w.watch_page.board.track_chosen.emit(1), w.acts.battery()),
    "note": lambda w: w.acts.note(),
    "report": lambda w: (
        setattr(w.bridge._client, "folder", w.prefs.report.folder),
        w.reports.show(),
    ),
    "rendering": lambda w: w.bridge.opening.emit("demo take: writing 40 %"),
    "start": lambda w: w.to_start(),
    "all carts": lambda w: w.overview.show(),
    "publish": lambda w: w.publishing.show(),
    "recorder": lambda w: w.verifying.show(),
    "report from start": lambda w: (w.to_start(), w.reports.show()),
}
CONTROLS = (QAbstractButton, QComboBox, QLineEdit, QSlider)
ROLES = {Role.Button, Role.CheckBox, Role.ComboBox, Role.EditableText, Role.Slider, Role.SpinBox}


@pytest.mark.parametrize("page", PAGES)
def test_every_control_has_a_name_and_a_role(window: MainWindow, page: str) -> None:
    """Whatever can be pressed or typed into says what it is."""
    PAGES[page](window)
    QTest.qWait(10)
    for kind in CONTROLS:
        for widget in window.findChildren(kind):
            inner = isinstance(widget.parent(), (QComboBox,)) or not widget.objectName().find("qt_")
            if widget.isVisible() and not inner:
                found = interface(widget)
                assert found.text(Name), (page, widget)
                assert found.role() in ROLES, (page, widget, found.role())


@pytest.mark.parametrize("page", PAGES)
def test_tab_reaches_every_control_of_a_page(window: MainWindow, page: str) -> None:
    """By Tab alone one comes to each button of the page on top, and the focus can be seen there."""
    PAGES[page](window)
    QTest.qWait(10)
    over = window.layer.current if window.layer.covers else window.pages.currentWidget()
    assert over is not None
    wanted = {b for b in over.findChildren(QAbstractButton) if b.isVisible() and b.isEnabled()}
    wanted = {b for b in wanted if b.focusPolicy() & Qt.FocusPolicy.TabFocus}
    seen = set()
    for _ in range(200):
        seen.add(window.focusWidget())
        window.focusNextChild()
    assert wanted <= seen
