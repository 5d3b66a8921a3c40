"""Desktop alerts and the words of the chime."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from app.alerts.alerts import Alerts, message
from app.alerts.chime import ChimeSettings, Sound
from app.models.fix_cards import cards
from engine.model.crew_notes import CrewNotes
from engine.model.messages import AlarmState, Severity
from tests.support.qt import fake_client, pages

PLAN = fake_client.tower_plan()
SNAPSHOT = fake_client.snapshot(PLAN, fake_client.tower_alarms())


@pytest.fixture
def alerts(qtbot: QtBot) -> Alerts:
    """Alerts of a window, without sound; the clock is moved by hand."""
    window = QWidget()
    qtbot.addWidget(window)
    made = Alerts(window, ChimeSettings(), pages.MutePlayer(), pages.Clock())
    made.shown = []  # type: ignore[attr-defined]
    made._show = made.shown.append  # type: ignore[attr-defined, method-assign]
    return made


def test_message_says_who_where_and_what_to_check() -> None:
    """Track, who, what, packs, receiver and first check, in plain words."""
    title, body = message(cards(PLAN, SNAPSHOT)[0])
    assert title == "RED: 7 + 8 Mason"
    for words in ("Uncovered", "Pack 7 under the apron", "Receiver B", "mic plug"):
        assert words in body


def test_message_holds_no_markup() -> None:
    """Signs that a desktop could read as markup are replaced."""
    card = replace(cards(PLAN, SNAPSHOT)[0], title="<b>1 & 2</b>")
    assert not set("<>&") & set("".join(message(card)))


def test_each_new_alarm_is_shown_once(alerts: Alerts) -> None:
    """The most urgent new one is shown; the same again is not; a worse one is."""
    listed = cards(PLAN, SNAPSHOT)
    for _ in range(3):
        alerts.show_snapshot(SNAPSHOT, listed)
    assert [c.title for c in alerts.shown] == ["7 + 8 Mason"]  # type: ignore[attr-defined]
    rigger = replace(listed[2], severity=Severity.RED)
    alerts.show_snapshot(SNAPSHOT, [rigger])
    assert alerts.shown[-1] is rigger  # type: ignore[attr-defined]


def test_seen_alarms_are_not_shown(alerts: Alerts) -> None:
    """What was seen already needs no message."""
    card = replace(cards(PLAN, SNAPSHOT)[0], state=AlarmState.ACKNOWLEDGED)
    alerts.show_snapshot(SNAPSHOT, [card])
    assert alerts.shown == []  # type: ignore[attr-defined]


def test_a_silenced_chime_shows(alerts: Alerts) -> None:
    """The footer says on, quiet with the time left, or off; a mark says why nothing is heard."""
    assert (alerts.words(), alerts.mark()) == ("Chime: on, default output", "")
    alerts.toggle_quiet()
    assert (alerts.words(), alerts.mark()) == ("Chime: QUIET 2:00", "QUIET 2:00")
    alerts.settings = ChimeSettings(on=False)
    assert (alerts.words(), alerts.mark()) == ("Chime: OFF", "CHIMES OFF")


def test_a_long_break_is_reminded_of(alerts: Alerts) -> None:
    """After half an hour of break, and every five minutes on, one amber sounds."""
    desk = CrewNotes(break_since_s=fake_client.NOW_S)
    heard = []
    for minute in range(46):
        now_s = fake_client.NOW_S + 60 * minute
        alerts._clock.now_s = now_s  # type: ignore[attr-defined]
        before = len(alerts.player.played)  # type: ignore[attr-defined]
        alerts.show_snapshot(fake_client.snapshot(PLAN, now_s=now_s, desk=desk), [])
        heard += [minute] * (len(alerts.player.played) - before)  # type: ignore[attr-defined]
    assert heard == [30, 35, 40, 45]


def test_off_is_off(alerts: Alerts) -> None:
    """No sound while the chime is off, but the test buttons still sound."""
    alerts.settings = ChimeSettings(on=False)
    alerts.show_snapshot(SNAPSHOT, [])
    assert alerts.player.played == []  # type: ignore[attr-defined]
    alerts.test(Sound.AMBER)
    assert alerts.player.played == [Sound.AMBER]  # type: ignore[attr-defined]
