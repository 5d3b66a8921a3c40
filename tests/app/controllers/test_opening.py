"""What is shown while a watch opens that has to wait for something, and how it is stopped."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.views.progress_page import ProgressPage
from app.window.main_window import MainWindow
from engine.model.commands import Open, Stop, Watch
from tests.support.qt import fake_client, pages


@pytest.fixture
def opening(tmp_path: Path, qtbot: QtBot) -> tuple[MainWindow, fake_client.FakeClient, Watch]:
    """A window that opens the demo take, while the engine still renders it."""
    plan = fake_client.tower_plan()
    watch = fake_client.watch(plan, live=False)
    client = fake_client.FakeClient(watch, lambda _call: fake_client.snapshot(plan))
    client.watching = None
    window, _ = pages.make_window(tmp_path, fake_client.factory_of(client))
    qtbot.addWidget(window)
    pages.show(window)
    window.open(Open(demo=True))
    window.bridge._timer.stop()
    return window, client, watch


def test_nothing_to_wait_for_shows_no_page(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch],
) -> None:
    """An input that opens at once does not flash a page."""
    window, _, _ = opening
    window.bridge.poll()
    assert not window.layer.covers


def test_rendering_shows_how_far_it_is(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch],
) -> None:
    """Words and bar follow the engine's; the board takes over once it has begun."""
    window, client, watch = opening
    client.progress = "demo take: making tower and square"
    window.bridge.poll()
    page = window.layer.current
    assert isinstance(page, ProgressPage)
    assert page.bar.maximum() == 0
    client.progress = "demo take: writing 40 %"
    window.bridge.poll()
    assert page.words.text() == "demo take: writing 40 %"
    assert page.bar.value() == 0.4 * page.bar.maximum()
    client.watching = watch
    window.bridge.poll()
    assert not window.layer.covers
    assert window.watching


@pytest.mark.parametrize("by_key", [True, False])
def test_it_can_be_stopped(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch], qtbot: QtBot, by_key: bool
) -> None:
    """Esc or the button: the engine is told to stop, and the start page is there at once."""
    window, client, _ = opening
    client.progress = "demo take: writing 40 %"
    window.bridge.poll()
    page = window.layer.current
    assert isinstance(page, ProgressPage)
    if by_key:
        QTest.keyClick(page, Qt.Key.Key_Escape)
    else:
        page.cancel.click()
    assert client.sent == [Stop()]
    qtbot.waitUntil(lambda: client.closed)
    assert not window.layer.covers
    assert not window.bridge.running
    assert window.start_page.error.text() == "Cancelled."


def test_a_watch_that_fails_to_open_is_told(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch],
) -> None:
    """The page goes, the reason stays, and it is not called cancelled."""
    window, client, _ = opening
    client.progress = "demo take: writing 40 %"
    window.bridge.poll()
    client.error = "cannot write the demo take: free 200 MB"
    window.bridge.poll()
    assert not window.layer.covers
    assert window.start_page.error.text() == client.error


def test_enter_does_not_cancel_and_keys_work_after_esc(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch], qtbot: QtBot
) -> None:
    """Enter in a hurry goes on waiting; after Esc the letters of the start page are heard again."""
    window, client, _ = opening
    client.progress = "demo take: making tower and square"
    window.bridge.poll()
    focus = window.focusWidget()
    assert focus is not None
    qtbot.keyClick(focus, Qt.Key.Key_Return)
    assert window.layer.covers
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert not window.layer.covers
    assert window.start_page.inputs.hasFocus()
    with qtbot.waitSignal(window.start_page.plan_wanted):
        qtbot.keyClick(window.start_page.inputs, Qt.Key.Key_M)


def test_keys_work_again_once_any_page_over_the_start_page_is_closed(
    tmp_path: Path, qtbot: QtBot
) -> None:
    """Help, what happened, a plan: none of them leaves the start page deaf."""
    window, _ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    pages.show(window)
    window.start.find_inputs()
    for show in (window.settings.show_help, window.sessions.show, window.first_plans.ask):
        show()
        assert not window.start_page.inputs.hasFocus()
        qtbot.keyClick(window, Qt.Key.Key_Escape)
        assert window.start_page.inputs.hasFocus()


def test_a_second_key_opens_nothing_else(
    opening: tuple[MainWindow, fake_client.FakeClient, Watch], qtbot: QtBot
) -> None:
    """D for the demo, then Enter in a hurry: it is the demo that opens, not the live input."""
    window, _, watch = opening
    window.start.find_inputs()
    asked = []
    window.start.opening.connect(asked.append)
    qtbot.keyClick(window.start_page.inputs, Qt.Key.Key_Return)
    assert asked == []
    window.bridge._client.watching = watch
    window.bridge.poll()
    assert window.watching
    window.to_start()
    qtbot.keyClick(window.start_page.inputs, Qt.Key.Key_Return)
    assert [request.device for request in asked] == ["Field interface, ALSA"]
