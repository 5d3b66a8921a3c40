"""Settings count at once, are there again the next day, and can be made as new."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.alerts.chime import ChimeSettings, Sound
from app.models.choices import Choices
from app.views.settings_page import SettingsPage
from app.window.main_window import MainWindow
from tests.support.qt import fake_client, pages


def opened(folder: Path, qtbot: QtBot) -> tuple[MainWindow, SettingsPage, pages.MutePlayer]:
    """A window under its settings."""
    window, _, player = pages.watching(folder, fake_client.tower_plan())
    qtbot.addWidget(window)
    QTest.keyClick(window, Qt.Key.Key_Comma)
    page = window.layer.current
    assert isinstance(page, SettingsPage)
    return window, page, player


def test_each_choice_counts_at_once_and_stays(qtbot: QtBot, tmp_path: Path) -> None:
    """Distance, times, look and chime reach what they are about, and the file."""
    window, page, _ = opened(tmp_path, qtbot)
    page.numbers["glance_m"].setValue(5.0)
    page.numbers["shelve_min"].setValue(2)
    page.look.setCurrentText("Day")
    page.on.setChecked(False)
    assert window.glances.page.distance_m == 5.0
    assert window.acts.choices.shelve_min == 2.0
    assert window.look.name == "day"
    assert window.watch_page.header.quiet.text() == "CHIME OFF"
    window.prefs._store.sync()
    again, _ = pages.make_window(tmp_path)
    qtbot.addWidget(again)
    assert again.prefs.choices == Choices(glance_m=5.0, shelve_min=2.0)
    assert again.look.name == "day"
    assert not again.alerts.settings.on


def test_numbers_can_be_read(qtbot: QtBot, tmp_path: Path) -> None:
    """Each number has room for its words inside its own box, in both looks."""
    window, page, _ = opened(tmp_path, qtbot)
    for _ in range(2):
        QApplication.processEvents()
        for box in page.numbers.values():
            edit = box.lineEdit()
            words = edit.fontMetrics().horizontalAdvance(box.text())
            assert box.rect().contains(edit.geometry())
            assert edit.width() > words
        window.settings.toggle_look()


def test_as_new_resets_all_but_recent_files(qtbot: QtBot, tmp_path: Path) -> None:
    """Everything is as at first start; the recent takes stay."""
    window, page, _ = opened(tmp_path, qtbot)
    window.prefs.remember("/shoot/a.wav")
    page.numbers["break_min"].setValue(90)
    page.level.setValue(-40)
    page.reset.click()
    assert window.prefs.choices == window.acts.choices == Choices()
    assert window.alerts.settings == ChimeSettings()
    assert window.alerts.desktop.on
    assert window.look.name == "night"
    assert window.prefs.recent == ("/shoot/a.wav",)


def test_the_chime_is_confirmed_by_ear(qtbot: QtBot, tmp_path: Path) -> None:
    """Only after a sound was played on that output can it be confirmed; another asks again."""
    window, page, _ = opened(tmp_path, qtbot)
    page.output.setCurrentIndex(1)
    assert not window.alerts.settings.confirmed
    assert not page.heard.isEnabled()
    page.tests[Sound.RED].click()
    page.heard.click()
    assert window.alerts.settings.confirmed
    assert window.prefs.chime.confirmed
    page.output.setCurrentIndex(0)
    assert not window.prefs.chime.confirmed
    assert window.alerts.mark() == "CHIME SILENT: C"


def test_every_chime_can_be_heard(qtbot: QtBot, tmp_path: Path) -> None:
    """One button a sound, most urgent first."""
    _, page, player = opened(tmp_path, qtbot)
    for button in page.tests.values():
        button.click()
    assert player.played == [Sound.UNCOVERED, Sound.RED, Sound.AMBER, Sound.BACK]


def test_arrows_belong_to_the_page(qtbot: QtBot, tmp_path: Path) -> None:
    """Up in a number counts it up instead of choosing another track."""
    _, page, _ = opened(tmp_path, qtbot)
    box = page.numbers["shelve_min"]
    box.setFocus()
    QTest.keyClick(box, Qt.Key.Key_Up)
    assert box.value() == 6.0


@pytest.mark.parametrize("words", ["far", "nan", "-3", "9000"])
def test_a_spoilt_choice_is_as_new(tmp_path: Path, qtbot: QtBot, words: str) -> None:
    """What the file holds beyond sense is not taken over."""
    (tmp_path / "window.ini").write_text(f"[choices]\nglance_m={words}\nbreak_min=45\n")
    window, _ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    assert window.prefs.choices == Choices(break_min=45.0)


def test_the_glance_window_stays_beside_the_board(qtbot: QtBot, tmp_path: Path) -> None:
    """Shift+G opens it while the board stays; its keys work there; its place is remembered."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    shift = Qt.KeyboardModifier.ShiftModifier
    QTest.keyClick(window, Qt.Key.Key_G, shift)
    window.bridge.poll()
    beside = window.glances.window
    assert beside.isVisible()
    assert window.watch_page.board.isVisible()
    assert "Foreman" in beside.view.accessibleDescription()
    QTest.qWaitForWindowActive(beside)
    crew.client.sent.clear()
    QTest.keyClick(beside, Qt.Key.Key_A)
    assert len(crew.client.sent) == 2
    window.bridge.silent.emit(4.0)
    assert "NOT WATCHING" in beside.view.accessibleDescription()
    QTest.keyClick(beside, Qt.Key.Key_G, shift)
    assert not beside.isVisible()
    assert window.prefs.place("glance").size() > 0


def test_text_can_be_larger(qtbot: QtBot, tmp_path: Path) -> None:
    """The size of text counts at once, and stays."""
    window, page, _ = opened(tmp_path, qtbot)
    before = window._scale
    page.numbers["text_percent"].setValue(130)
    assert window._scale == pytest.approx(1.3 * before, abs=0.03)
    assert window.prefs.choices.text_percent == 130.0


def test_the_key_of_the_look_works_over_the_settings(qtbot: QtBot, tmp_path: Path) -> None:
    """N there changes the look once, and the list says which it is now."""
    window, page, _ = opened(tmp_path, qtbot)
    page.on.setFocus()
    for name in ("day", "night"):
        qtbot.keyClick(page.on, Qt.Key.Key_N)
        assert window.look.name == name
        assert page.look.currentText() == name.capitalize()
