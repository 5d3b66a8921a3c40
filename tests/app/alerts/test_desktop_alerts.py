"""Desktop alerts: what they say, when they are shown, when not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from app.alerts.desktop_alerts import DesktopAlerts
from app.alerts.notification_service import Urgency, message
from app.models.fix_cards import cards
from engine.model.messages import AlarmState, Severity
from tests.support.qt import fake_client, pages

PLAN = fake_client.tower_plan()
LISTED = cards(PLAN, fake_client.snapshot(PLAN, fake_client.tower_alarms()))


@pytest.fixture
def service() -> pages.NoDesktop:
    """Notes what was shown."""
    return pages.NoDesktop()


@pytest.fixture
def desktop(qtbot: QtBot, service: pages.NoDesktop) -> DesktopAlerts:
    """Alerts of a window that nobody works in."""
    window = QWidget()
    qtbot.addWidget(window)
    made = DesktopAlerts(window, lambda _changed, _clicked: service)
    made.start(QIcon())
    return made


def test_it_says_who_what_to_check_and_where() -> None:
    """Track, who and fault in the title; remedy first, then packs and receiver."""
    shown = message(LISTED[0])
    assert shown.title == "RED: 7 + 8 Foreman, silent"
    assert shown.body.startswith("No backup.")
    assert shown.body.index("mic plug") < shown.body.index("Pack 7 chest")
    assert shown.urgency is Urgency.CRITICAL
    assert message(LISTED[2]).urgency is Urgency.NORMAL


def test_it_holds_no_markup() -> None:
    """Signs that a desktop could read as markup are replaced."""
    shown = message(replace(LISTED[0], title="<b>1 & 2</b>"))
    assert not set("<>&") & set(shown.title + shown.body)


def test_a_drill_says_so() -> None:
    """An alert of a drill can't be taken for a real one."""
    assert message(LISTED[0], drill=True).title.startswith("DRILL · RED")


def test_each_new_alarm_is_shown_once(desktop: DesktopAlerts, service: pages.NoDesktop) -> None:
    """The same again is not shown; a worse one is; the worst stays on top and names the new one."""
    for _ in range(3):
        desktop.show_cards(LISTED)
    assert [n.title for n in service.shown] == ["RED: 7 + 8 Foreman, silent"]
    assert "3 Rigger main clipping" in service.shown[0].body
    rigger = replace(LISTED[2], severity=Severity.RED)
    desktop.show_cards([LISTED[0], rigger])
    assert service.shown[-1].title == "RED: 7 + 8 Foreman, silent"
    assert service.shown[-1].body.endswith("Also: 3 Rigger main clipping.")


def test_what_was_seen_is_taken_away(desktop: DesktopAlerts, service: pages.NoDesktop) -> None:
    """Once nothing is left to see no notification stays behind."""
    desktop.show_cards(LISTED)
    desktop.show_cards([replace(c, state=AlarmState.ACKNOWLEDGED) for c in LISTED])
    assert service.shown == []


def test_the_active_window_needs_none(
    desktop: DesktopAlerts, service: pages.NoDesktop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who works in the window sees it there."""
    monkeypatch.setattr(desktop._window, "isActiveWindow", lambda: True)
    desktop.show_cards(LISTED)
    assert service.shown == []


def test_a_click_chooses_the_track(desktop: DesktopAlerts, qtbot: QtBot) -> None:
    """The window is raised, and the track of the alarm shown is chosen."""
    desktop.show_cards(LISTED)
    with qtbot.waitSignal(desktop.clicked) as chosen:
        desktop._service_clicked.emit()
    assert chosen.args == [7]


def test_without_a_way_it_says_so(desktop: DesktopAlerts) -> None:
    """A desktop with neither service nor tray is named, and the state line shouts."""
    desktop._take_service(False, "this desktop has no notification service")
    assert desktop.words() == "NO ALERTS"
    assert desktop.problem == "this desktop has no notification service"
    desktop._take_service(True, "dunst")
    assert (desktop.words(), desktop.problem) == ("alerts on", "")


def test_off_is_off(desktop: DesktopAlerts, service: pages.NoDesktop) -> None:
    """Nothing is shown while alerts are off."""
    desktop.on = False
    desktop.show_cards(LISTED)
    assert service.shown == []
    assert desktop.words() == "alerts OFF"


def test_it_is_taken_away_once_somebody_comes(
    desktop: DesktopAlerts, service: pages.NoDesktop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The window comes to the front: what stands on the desktop says nothing new; another red,
    once it has gone to the back again, is shown anew."""
    desktop.show_cards(LISTED[1:])
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    application.focusWindowChanged.emit(None)
    assert len(service.shown) == 1
    monkeypatch.setattr(desktop._window, "isActiveWindow", lambda: True)
    application.focusWindowChanged.emit(None)
    assert service.shown == []
    monkeypatch.setattr(desktop._window, "isActiveWindow", lambda: False)
    desktop.show_cards(LISTED)
    assert [shown.title for shown in service.shown] == ["RED: 7 + 8 Foreman, silent"]
