"""Work off the window's thread."""

from __future__ import annotations

import threading

import pytest
from pytestqt.qtbot import QtBot

from app.services.background import Background


@pytest.fixture
def background(qtbot: QtBot) -> Background:
    """One that is closed by the test."""
    return Background()


def test_results_come_on_the_windows_thread(background: Background, qtbot: QtBot) -> None:
    """Work is done elsewhere, in the order it was asked for, and taken here."""
    worked: list[threading.Thread] = []
    taken: list[tuple[int, threading.Thread]] = []

    def work(number: int) -> int:
        worked.append(threading.current_thread())
        return number

    for number in range(3):
        background.ask(
            lambda n=number: work(n),
            lambda result: taken.append((result, threading.current_thread())),
        )
    qtbot.waitUntil(lambda: len(taken) == 3)
    here = threading.current_thread()
    assert taken == [(0, here), (1, here), (2, here)]
    assert len(set(worked)) == 1
    assert here not in worked
    background.close()


def test_what_fails_is_said_and_the_next_still_done(background: Background, qtbot: QtBot) -> None:
    """Work that raises ends neither the thread nor what waits behind it."""
    taken: list[int] = []
    words: list[str] = []
    background.failed.connect(words.append)
    background.ask(lambda: 1 // 0, taken.append)
    background.ask(lambda: 2, taken.append)
    qtbot.waitUntil(lambda: taken == [2])
    assert len(words) == 1
    assert "zero" in words[0]
    background.close()


def test_closing_twice_or_unused_does_no_harm(background: Background) -> None:
    """No thread is begun for nothing."""
    background.close()
    background.close()
    assert not any(t.name == "background" for t in threading.enumerate())
