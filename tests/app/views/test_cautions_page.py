"""The cautions before a demo or a drill that the command line opened."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from app.views.cautions_page import CautionsPage
from engine.model import cautions
from tests.support.qt import fake_client, pages


@pytest.mark.parametrize("drill", [False, True])
def test_any_key_takes_it_away_and_the_watch_went_on(
    tmp_path: Path, qtbot: QtBot, drill: bool
) -> None:
    """It lies over the board, which is brought up to date behind it, until a key is pressed."""
    window, _, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    page = CautionsPage(window.pages, drill)
    window.layer.open(page)
    shown = {label.text() for label in page.findChildren(QLabel)}
    assert {*cautions.FIRST} <= shown
    assert (cautions.DRILL in shown) == drill
    before = window.watch_page.last
    window.bridge.poll()
    assert window.watch_page.last is not before
    qtbot.keyClick(page, Qt.Key.Key_A)
    assert not window.layer.covers
    assert not page.timer.isActive()


def test_it_goes_by_itself(tmp_path: Path, qtbot: QtBot) -> None:
    """A demo that nobody stands at shows its board after a while."""
    window, _, _ = pages.watching(tmp_path, fake_client.tower_plan())
    qtbot.addWidget(window)
    page = CautionsPage(window.pages, False)
    window.layer.open(page)
    page.timer.timeout.emit()
    assert not window.layer.covers
