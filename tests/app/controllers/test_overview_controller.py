"""All carts on a page and in a window of their own, from messages that the test plays."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.models.choices import PublishChoices
from app.views.fleet.overview_page import OverviewPage
from app.window.main_window import MainWindow
from tests.support.played_site import PlayedSite, played_site
from tests.support.qt import pages
from tests.support.qt.fleet_pages import SITE


class Desk:
    """A window whose overview follows a played site."""

    def __init__(self, folder: Path, qtbot: QtBot) -> None:
        self.window: MainWindow
        self.window, _ = pages.make_window(folder)
        qtbot.addWidget(self.window)
        pages.show(self.window)
        self.site: PlayedSite = played_site(1000.0)
        self.overview = self.window.overview
        self.overview._read = self.site
        self.overview._clock = lambda: 1000.5

    def open(self) -> OverviewPage:
        """By its key."""
        QTest.keyClick(self.window, Qt.Key.Key_O, Qt.KeyboardModifier.ControlModifier)
        page = self.window.layer.current
        assert isinstance(page, OverviewPage)
        return page


@pytest.fixture
def desk(tmp_path: Path, qtbot: QtBot) -> Desk:
    """A window on the start page."""
    return Desk(tmp_path, qtbot)


def test_without_a_site_it_asks_for_one(desk: Desk) -> None:
    """Nothing is connected to; what can't be an address is said."""
    page = desk.open()
    assert desk.site.asked == []
    page.site.setText("belfry")
    page.follow.click()
    assert "mqtt://HOST/SITE" in page.problem.text()
    page.site.setText(SITE)
    page.follow.click()
    assert (page.problem.text(), desk.window.prefs.publish.site) == ("", SITE)
    assert [row.cells[0] for row in page.view.carts.rows] == ["river", "tower", "square", "bridge"]
    assert page.view.head.text() == f"{SITE}: 4 carts, 4 alarms"


def test_a_cart_that_publishes_shows_its_own_site(desk: Desk) -> None:
    """With the files of its login."""
    desk.window.prefs.publish = PublishChoices(True, f"{SITE}/tower", login="/l", ca="/c")
    page = desk.open()
    ((broker, login),) = desk.site.asked
    assert (broker.site, login.login, login.ca) == ("belfry", "/l", "/c")
    assert [row.cells[0] for row in page.view.alarms.rows] == ["tower", "tower", "square", "tower"]
    assert page.view.alarms.rows[0].cells[1:3] == ("7 + 8 Foreman", "NO BACKUP · silent")


def test_the_window_of_its_own_goes_on_beside_the_board(desk: Desk) -> None:
    """The broker is let go of when nobody looks any more."""
    desk.window.prefs.publish = PublishChoices(site=SITE)
    page = desk.open()
    page.apart.click()
    window = desk.overview.window
    assert window is not None
    assert window.isVisible()
    assert not page.isVisible()
    assert len(window.view.carts.rows) == 4
    assert not desk.site.closed
    desk.site.state("river", 1000.4)
    desk.overview.draw()
    assert window.view.carts.rows[0].cells[0] == "tower"
    window.close()
    QTest.qWait(1)
    assert not desk.overview._timer.isActive()


def test_a_broker_that_is_gone_is_said_over_what_is_old(desk: Desk) -> None:
    """And is forgotten once it is back."""
    desk.window.prefs.publish = PublishChoices(site=SITE)
    page = desk.open()
    desk.site.problem = "the broker does not answer"
    desk.overview.draw()
    assert page.view.old.text() == (
        "NO BROKER: the broker does not answer. What stands here is old."
    )
    assert not page.view.cart_view.isEnabled()
    desk.site.problem = ""
    desk.overview.draw()
    assert page.view.old.text() == ""


def test_a_login_that_cannot_be_read_is_said(desk: Desk) -> None:
    """In one line, on the page."""

    def refuse(*_: object) -> PlayedSite:
        raise OSError("/l: no such file")

    desk.overview._read = refuse
    desk.window.prefs.publish = PublishChoices(site=SITE)
    assert desk.open().problem.text() == "/l: no such file"


def test_times_that_go_on_leave_the_choice_alone(desk: Desk) -> None:
    """The table is not filled anew each second."""
    desk.window.prefs.publish = PublishChoices(site=SITE)
    page = desk.open()
    page.view.alarm_view.selectRow(2)
    desk.overview._clock = lambda: 1003.5
    desk.overview.draw()
    assert [index.row() for index in page.view.alarm_view.selectionModel().selectedRows()] == [2]
    assert page.view.alarms.rows[0].cells[3] == "0:13"
