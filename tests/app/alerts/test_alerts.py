"""Desktop alerts and the words of the chime."""

from __future__ import annotations

from itertools import pairwise

import pytest
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from app.alerts.alerts import Alerts
from app.alerts.chime import ChimeSettings, Sound
from engine.model.crew_notes import CrewNotes
from tests.support.qt import fake_client, pages

PLAN = fake_client.tower_plan()
SNAPSHOT = fake_client.snapshot(PLAN, fake_client.tower_alarms())


@pytest.fixture
def alerts(qtbot: QtBot) -> Alerts:
    """Alerts of a window, without sound; the clock is moved by hand."""
    window = QWidget()
    qtbot.addWidget(window)
    settings = ChimeSettings(confirmed=True)
    desktop = pages.no_desktop(window)
    return Alerts(window, settings, pages.MutePlayer(), pages.Clock(), desktop)


def test_a_silenced_chime_shows(alerts: Alerts) -> None:
    """The footer says on, quiet with the time left, or off; a mark says why nothing is heard."""
    assert (alerts.words(), alerts.mark()) == ("Chime: default output", "")
    alerts.toggle_quiet()
    assert (alerts.words(), alerts.mark()) == ("Chime: QUIET 2:00", "QUIET 2:00")
    alerts.settings = ChimeSettings(on=False)
    assert (alerts.words(), alerts.mark()) == ("Chime: OFF", "CHIME OFF")
    alerts.toggle_quiet()
    alerts.settings = ChimeSettings()
    assert (alerts.words(), alerts.mark()) == ("Chime: NOT CONFIRMED", "CHIME SILENT: C")


def test_a_chime_that_nobody_confirmed_stays_silent(alerts: Alerts) -> None:
    """The default output may be a loudspeaker on set: nothing sounds there but a test."""
    alerts.settings = ChimeSettings()
    alerts.show_snapshot(SNAPSHOT, [])
    alerts.show_silence()
    alerts.show_stopped()
    assert alerts.player.played == []  # type: ignore[attr-defined]
    alerts.test(Sound.RED)
    assert alerts.player.played == [Sound.RED]  # type: ignore[attr-defined]


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


def test_the_computer_chimes_at_most_once_in_ten_minutes(alerts: Alerts) -> None:
    """Whatever comes, goes and comes again of it, and with other amounts each time.

    Something else that began meanwhile and still stands is chimed once the ten minutes are over.
    """
    heard = []
    for second in range(0, 7200, 5):
        alerts._clock.now_s = float(second)  # type: ignore[attr-defined]
        lines = [f"so busy ({90 + second % 10} %): close other programs"] * (second % 15 == 0)
        lines += ["hot (98 °C): give it air"] * (second >= 300)
        before = len(alerts.player.played)  # type: ignore[attr-defined]
        alerts.show_snapshot(fake_client.snapshot(PLAN, computer=tuple(lines)), [])
        heard += [second] * (len(alerts.player.played) - before)  # type: ignore[attr-defined]
    assert heard[:2] == [0, 600]
    assert all(b - a >= 600 for a, b in pairwise(heard))
    assert set(alerts.player.played) == {Sound.AMBER}  # type: ignore[attr-defined]


def test_what_stands_of_the_computer_chimes_once(alerts: Alerts) -> None:
    """A night on its battery is known after one chime, however its charge falls."""
    for minute in range(120):
        alerts._clock.now_s = 60.0 * minute  # type: ignore[attr-defined]
        line = f"runs on its battery ({100 - minute / 2:.0f} % left): plug it in"
        alerts.show_snapshot(fake_client.snapshot(PLAN, computer=(line,)), [])
    assert alerts.player.played == [Sound.AMBER]  # type: ignore[attr-defined]
