"""What the window says and does when the engine dies, the log can't be saved, or it is closed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from app.alerts.chime import Sound
from app.style import wording
from app.views.widgets.overlay import Question
from engine.model.commands import Stop
from engine.model.snapshot import LogState, Snapshot
from tests.support.qt import fake_client, pages

WORDS = "watch stopped: its process has ended. A new one is starting."


class Night:
    """A window that watches live, with an engine that does what the test says."""

    def __init__(self, folder: Path, qtbot: QtBot) -> None:
        self.window, self.crew, self.player = pages.watching(folder, fake_client.tower_plan())
        qtbot.addWidget(self.window)
        self.client = self.crew.client
        self._next = self.client.script

    def dies(self) -> None:
        """The engine is killed; the client knows."""
        self.client.stopped, self.client.script = WORDS, lambda call: None

    def is_back(self) -> None:
        """Another engine shows something."""
        self.client.stopped, self.client.script = "", self._next

    def shows(self, **more: object) -> None:
        """The next snapshot says that."""
        shot: Snapshot = replace(fake_client.snapshot(self.crew.plan), **more)  # type: ignore[arg-type]
        self.client.script = lambda call: shot
        self.window.bridge.poll()


@pytest.fixture
def night(tmp_path: Path, qtbot: QtBot) -> Night:
    """A watch at night."""
    return Night(tmp_path, qtbot)


def test_a_dead_engine_is_said_in_red_with_a_chime_at_the_next_look(night: Night) -> None:
    """One look (50 ms) after the client knows, the band says so and a red chime sounds, once."""
    night.player.played.clear()
    night.dies()
    for _ in range(5):
        night.window.bridge.poll()
    band = night.window.watch_page.silent
    assert band.isVisible()
    assert band.objectName() == "silent"
    assert any("watch stopped" in part.text() for part in band.findChildren(QLabel))
    assert night.player.played == [Sound.RED]


def test_the_next_engine_takes_the_band_away(night: Night) -> None:
    """Once the watch goes on the band is gone, and a second death is told again."""
    night.dies()
    night.window.bridge.poll()
    night.is_back()
    night.window.bridge.poll()
    assert not night.window.watch_page.silent.isVisible()
    night.player.played.clear()
    night.window.alerts._clock.now_s += 10.0  # past the rule against floods
    night.dies()
    night.window.bridge.poll()
    assert night.window.watch_page.silent.isVisible()
    assert night.player.played == [Sound.RED]


def test_the_footer_says_how_the_log_stands(night: Night) -> None:
    """Saved so many seconds ago; or amber, why not and how much waits, with one chime."""
    night.shows(log=LogState(1.2))
    footer = night.window.watch_page.footer
    assert footer.log.text() == "Log: saved 1 s ago"
    night.player.played.clear()
    for _ in range(3):
        night.shows(log=LogState(9.0, "database or disk is full", 312))
    assert "NOT SAVED" in footer.log.text()
    assert "disk is full" in footer.log.text()
    assert footer.log.property("tone") in ("amber", None)
    assert night.player.played == [Sound.AMBER]


def test_words_of_log_and_clock() -> None:
    """Seconds are whole, drift has a sign and a unit."""
    assert wording.log_saved(LogState(0.4)) == "Log: saved 0 s ago"
    assert wording.log_saved(LogState(5.0, "read-only", 7)) == (
        "Log: NOT SAVED, 7 lines in memory: read-only"
    )
    assert wording.drift(12.34) == "Clock: +12.3 ppm"
    assert wording.drift(-3.0) == "Clock: -3.0 ppm"


def question(night: Night) -> Question:
    """What is asked."""
    asked = night.window.layer.current
    assert isinstance(asked, Question)
    return asked


def test_closing_the_window_while_watching_live_asks_first(night: Night) -> None:
    """Nothing is stopped by closing; the question offers to stop or to watch on without it."""
    night.window.close()
    assert night.window.isVisible()
    assert not night.client.closed
    question(night).no.click()
    assert night.window.isVisible()


def test_the_window_may_go_and_the_watch_go_on(night: Night) -> None:
    """With the third answer the window closes and the engine is not told to stop."""
    night.window.close()
    question(night).other.click()
    assert not night.window.isVisible()
    assert night.client.closed
    assert Stop() not in night.client.sent


def test_stopping_stops(night: Night) -> None:
    """With Yes the engine is told to stop before the window goes."""
    night.window.close()
    question(night).yes.click()
    assert not night.window.isVisible()
    assert Stop() in night.client.sent


@pytest.mark.parametrize("part", ["board", "chime", "followers", "glance"])
def test_a_part_of_the_window_that_raises_keeps_no_other_from_its_work(
    night: Night, monkeypatch: pytest.MonkeyPatch, part: str
) -> None:
    """The others show and sound, a card names what fails, and once it works the card is gone."""

    def fails(*_arguments: object) -> None:
        raise ZeroDivisionError("made to fail")

    window, watch = night.window, night.window.watch
    with monkeypatch.context() as broken:
        if part == "board":
            broken.setattr(window.watch_page, "show_snapshot", fails)
        elif part == "chime":
            broken.setattr(window.alerts, "show_snapshot", fails)
        elif part == "followers":
            broken.setattr(watch, "followers", (fails, *watch.followers))
        else:
            broken.setattr(watch, "show_glance", fails)
        night.player.played.clear()
        for second in range(3):
            night.shows(alarms=fake_client.tower_alarms(), now_s=fake_client.NOW_S + second)
        assert (night.player.played == []) == (part == "chime")
        troubles = {trouble.evidence for trouble in watch._troubles()}
        assert "ZeroDivisionError: made to fail" in troubles
        if part != "board":
            assert any(card.headline == "Fails." for card in window.watch_page.cards)
    night.shows(now_s=fake_client.NOW_S + 9)
    assert watch._troubles() == ()


def test_ctrl_c_asks_in_the_window_and_a_second_one_stops_the_watch(night: Night) -> None:
    """Nobody ends a night by one slip of the hand in a terminal."""
    stopped = [sent for sent in night.client.sent if isinstance(sent, Stop)]
    night.window.leaving.interrupt()
    assert night.window.isVisible()
    assert [sent for sent in night.client.sent if isinstance(sent, Stop)] == stopped
    assert any(question.isVisible() for question in night.window.findChildren(Question))
    night.window.leaving.interrupt()
    assert not night.window.isVisible()
    assert len([sent for sent in night.client.sent if isinstance(sent, Stop)]) > len(stopped)


def test_ctrl_c_after_keep_watching_asks_again(night: Night) -> None:
    """The question that was answered is no yes to the next one."""
    night.window.leaving.interrupt()
    (question,) = (q for q in night.window.findChildren(Question) if q.isVisible())
    question.no.click()
    night.window.leaving.interrupt()
    assert night.window.isVisible()
