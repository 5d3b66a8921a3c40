"""The panel that shares the glance view, with a page that the test plays on a real socket."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.controllers import share_controller
from app.page.launch import PageWish
from app.page.page_process import Control
from app.services import page_link
from app.views.share_page import WHAT, SharePage
from app.window.main_window import MainWindow
from engine.model.commands import Open
from tests.support.page_night import PageNight, page_night
from tests.support.qt import fake_client, pages

PLAN = fake_client.tower_plan()


class Cart:
    """A window on a watch whose session has this folder, and its panel."""

    def __init__(self, folder: Path, qtbot: QtBot) -> None:
        self.crew = fake_client.Crew(PLAN, fake_client.tower_alarms())
        self.crew.client.folder = folder
        self.window: MainWindow
        self.window, _ = pages.make_window(folder, fake_client.factory_of(self.crew.client))
        qtbot.addWidget(self.window)
        pages.show(self.window)
        self.window.open(Open(device="tower"))
        self.window.bridge.poll()
        self.window.bridge._timer.stop()

    def panel(self) -> SharePage:
        """Open it by its key."""
        QTest.keyClick(self.window, Qt.Key.Key_G, Qt.KeyboardModifier.ControlModifier)
        page = self.window.layer.current
        assert isinstance(page, SharePage)
        return page


@pytest.fixture
def cart(tmp_path: Path, qtbot: QtBot) -> Cart:
    """A cart that watches."""
    return Cart(tmp_path, qtbot)


@pytest.fixture
def night(cart: Cart, tmp_path: Path) -> Iterator[tuple[PageNight, Control]]:
    """The page of that watch, with its control."""
    with page_night(cart.crew) as running:
        control = Control(running.server, "AA:BB")

        async def listen() -> asyncio.Server:
            return await control.start(tmp_path)

        listening = running.do(listen)
        yield running, control
        running.call(listening.close)


def test_without_a_page_it_offers_one(cart: Cart) -> None:
    """Off unless it is switched on."""
    page = cart.panel()
    assert page.start.isVisible()
    assert not page.code.isVisible()
    assert page.words.text() == WHAT


def test_it_shows_the_running_page(
    cart: Cart, night: tuple[PageNight, Control], qtbot: QtBot
) -> None:
    """Address, QR code, fingerprint, who is connected."""
    page = cart.panel()
    qtbot.waitUntil(page.code.isVisible)
    assert page.address.text() == night[0].server.address
    assert "AA:BB" in page.fingerprint.text()
    assert page.phones.text() == "Connected: nobody."
    assert not page.start.isVisible()


def test_its_buttons_are_obeyed(cart: Cart, night: tuple[PageNight, Control], qtbot: QtBot) -> None:
    """New code, acknowledging, off."""
    server, control = night[0].server, night[1]
    page = cart.panel()
    qtbot.waitUntil(page.code.isVisible)
    before = page.address.text()
    page.may_see.click()
    qtbot.waitUntil(lambda: server.feed.may_see)
    page.renew.click()
    qtbot.waitUntil(lambda: page.address.text() not in ("", before))
    page.off.click()
    qtbot.waitUntil(control.off.is_set)


def test_sharing_starts_the_process_off_the_windows_thread(
    cart: Cart, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot, tmp_path: Path
) -> None:
    """With a certificate where that is wanted; what goes wrong is said."""
    asked: list[tuple[Path, PageWish, bool]] = []

    def launch(folder: Path, wish: PageWish) -> dict[str, str]:
        asked.append((folder, wish, threading.current_thread() is threading.main_thread()))
        return {"error": "no network"}

    monkeypatch.setattr(share_controller, "launch", launch)
    page = cart.panel()
    page.tls.setChecked(True)
    page.start.click()
    qtbot.waitUntil(lambda: page.words.text() == "Not shared: no network")
    assert [(folder, wish) for folder, wish, _ in asked] == [(tmp_path, PageWish("", "made"))]


def test_a_page_that_has_gone_is_said(cart: Cart, tmp_path: Path, qtbot: QtBot) -> None:
    """What a killed page left behind leads nowhere, and the panel offers a new one."""
    (tmp_path / page_link.RUNNING).write_text('{"port": 9, "key": "x"}', encoding="utf-8")
    page = cart.panel()
    qtbot.waitUntil(page.start.isVisible)
