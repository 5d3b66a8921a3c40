"""What an engine does beside its watch goes on whatever happens, and stays bounded."""

from __future__ import annotations

import time
from pathlib import Path
from typing import cast

import pytest

from engine.runtime.housekeeping import Housekeeping
from engine.runtime.ipc import BEAT_S
from engine.runtime.server import Server
from engine.runtime.wire import Alive, State
from engine.session import engines, folders


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions of another user than the one who tests."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))


class Windows:
    """A server whose windows are there, but can't be looked after."""

    def __init__(self) -> None:
        self.states: list[State] = []

    def publish(self, state: State) -> None:
        """Keep what was sent."""
        self.states.append(state)

    def look_after(self) -> None:
        """Fail."""
        raise RuntimeError("not today")


@pytest.fixture
def idle() -> Housekeeping:
    """That of an engine whose watch has not begun."""
    folder = folders.new_session()
    engines.ensured(engines.runtime_of(folder))
    return Housekeeping(folder, cast(Server, Windows()))


def test_the_heartbeat_says_how_long_the_watch_took_no_turn(idle: Housekeeping) -> None:
    """By that a window knows a driver that never answers."""
    now_s = time.monotonic()
    for n in range(1, 29):
        beat = idle.heartbeat(now_s + n * BEAT_S)
    assert isinstance(beat, Alive)
    assert beat.turn_s == pytest.approx(7.0, abs=0.5)
    idle.turned()
    beat = idle.heartbeat(now_s + 8.0)
    assert isinstance(beat, Alive)
    assert beat.turn_s < 1.0


def test_an_engine_that_was_stopped_as_a_whole_does_not_say_that_its_watch_hangs(
    idle: Housekeeping,
) -> None:
    """Its heart beats before its watch can take a turn; windows are not to end it."""
    beat = idle.heartbeat(time.monotonic() + 60.0)
    assert isinstance(beat, Alive)
    assert beat.turn_s < 1.0


def test_what_a_driver_complains_of_is_bounded(idle: Housekeeping) -> None:
    """Its words in the engine's error file begin anew beyond a megabyte."""
    words = engines.words_of(idle._folder)
    words.write_bytes(b"x" * 900_000)
    idle.bound_words()
    assert words.stat().st_size == 900_000
    words.write_bytes(b"x" * 1_000_001)
    idle.bound_words()
    assert words.stat().st_size == 0


def test_a_thread_of_the_engine_survives_what_is_raised_in_one_round(idle: Housekeeping) -> None:
    """The heartbeat goes on though looking after the windows fails."""
    windows = cast(Windows, idle._server)
    idle.start()
    end = time.monotonic() + 30.0
    while len(windows.states) < 3:
        assert time.monotonic() < end
        time.sleep(0.02)
    idle.stop()
