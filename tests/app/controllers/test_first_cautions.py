"""The cautions come first, and come back where nobody could read them."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.controllers.first_cautions import show_cautions
from app.views.cautions_page import CautionsPage
from app.views.progress_page import ProgressPage
from app.window.main_window import MainWindow
from engine.model.commands import Open, Watch
from tests.support.qt import fake_client, pages


@pytest.fixture
def opening(tmp_path: Path, qtbot: QtBot) -> tuple[MainWindow, fake_client.FakeClient, Watch]:
    """A window that opens the demo take, with the cautions laid over it."""
    plan = fake_client.tower_plan()
    watch = fake_client.watch(plan, live=False)
    client = fake_client.FakeClient(watch, lambda _call: fake_client.snapshot(plan))
    client.watching = None
    window, _ = pages.make_window(tmp_path, fake_client.factory_of(client))
    qtbot.addWidget(window)
    pages.show(window)
    window.open(Open(demo=True))
    window.bridge._timer.stop()
    show_cautions(window.layer, window.bridge, drill=False)
    return window, client, watch


@pytest.mark.parametrize("read", [False, True])
def test_they_come_back_where_another_page_took_their_place_unread(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch], qtbot: QtBot, read: bool
) -> None:
    """The demo take is rendered for some seconds the first time, and says so over them."""
    window, client, watch = opening
    assert isinstance(window.layer.current, CautionsPage)
    if read:
        qtbot.keyClick(window.layer.current, Qt.Key.Key_A)
    client.progress = "demo take: writing 40 %"
    window.bridge.poll()
    assert isinstance(window.layer.current, ProgressPage)
    client.watching = watch
    window.bridge.poll()
    assert window.watching
    assert window.layer.covers is not read
    if not read:
        assert isinstance(window.layer.current, CautionsPage)
        qtbot.keyClick(window.layer.current, Qt.Key.Key_A)
        assert not window.layer.covers


def test_they_stay_where_nothing_else_is_shown(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch],
) -> None:
    """A take that opens at once comes up behind them."""
    window, client, watch = opening
    page = window.layer.current
    client.watching = watch
    window.bridge.poll()
    assert window.watching
    assert window.layer.current is page
    assert window.layer.covers
