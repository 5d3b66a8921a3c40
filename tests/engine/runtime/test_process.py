"""The engine's process: a spare that is not needed goes, a session has one engine."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.model.client_id import ClientId
from engine.model.commands import Open, Stop
from engine.runtime.client import EngineClient, EngineFailedError
from engine.runtime.ipc import connect
from engine.runtime.process import MOST_CRASHES, SPARE, Engine
from engine.runtime.wire import Alive, Failed, Job, pack, unpack_message
from engine.session import engines, folders
from engine.session.reader import SessionReader
from tests.support.checkout import ROOT

pytestmark = pytest.mark.end_to_end


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions of another user than the one who tests."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))


def engine(*more: str) -> subprocess.Popen[bytes]:
    """An engine process that waits for its job."""
    command = [sys.executable, "-m", "engine.runtime.process", *more]
    return subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE)


def test_a_spare_goes_when_its_window_goes() -> None:
    """A loaded process whose input ends without a job ends without a word."""
    with engine(SPARE) as spare:
        assert spare.stdin is not None
        spare.stdin.close()
        assert spare.wait(60) == 0


def test_a_session_that_has_an_engine_gets_no_second_one() -> None:
    """Who finds the lock held leaves at once and touches nothing."""
    folder = folders.new_session()
    lock = engines.Lock(folder)
    with engine() as second:
        second.communicate(pack(Job(str(folder), Open(take="take.wav"))), timeout=60)
        assert second.returncode == 0
    lock.release()
    assert list(folder.iterdir()) == []


def test_why_nothing_can_be_watched_is_told_to_whoever_comes() -> None:
    """The engine waits with its one line until a window took it, then leaves nothing behind."""
    folder = folders.new_session()
    with engine() as failing:
        assert failing.stdin is not None
        failing.stdin.write(pack(Job(str(folder), Open(take="/not/there.wav"))))
        failing.stdin.close()
        end = time.monotonic() + 60.0
        while (running := engines.running_in(folder)) is None:
            assert time.monotonic() < end
            time.sleep(0.02)
        window = connect(running.address)
        window.send(pack(ClientId("window", "crew", 1)))
        told = unpack_message(window.recv()).state
        while not isinstance(told, Failed):
            told = unpack_message(window.recv()).state
        assert "/not/there.wav" in told.reason
        assert "\n" not in told.reason
        window.close()
        assert failing.wait(30) == 0
    assert not folder.exists()


def _wait_for(client: EngineClient) -> None:
    """Until it says what it watches, or why it can't."""
    end = time.monotonic() + 60.0
    while client.watch() is None and time.monotonic() < end:
        time.sleep(0.02)


def test_a_mistake_of_a_plan_names_the_file_that_was_given(tmp_path: Path) -> None:
    """Not the copy that the session keeps of it."""
    take, plan = tmp_path / "take.wav", tmp_path / "tonight.toml"
    soundfile.write(take, np.zeros((4_800, 2)), 48_000)
    plan.write_text("[[track]]\ninput = 40\n")
    client = EngineClient(Open(take=str(take), plan=str(plan)))
    with pytest.raises(EngineFailedError) as refused:
        _wait_for(client)
    client.close()
    assert str(refused.value).startswith(f"{plan}: line 2: ")
    assert "\n" not in str(refused.value)


def test_rendering_the_demo_take_can_be_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told to stop while the take is made, the engine leaves neither session nor half a take."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    client = EngineClient(Open(demo=True))
    folder, end = client.folder, time.monotonic() + 60.0
    while "demo take" not in client.progress:
        assert time.monotonic() < end, client.progress
        assert client.watch() is None
        time.sleep(0.02)
    client.send(Stop())
    client.close()
    while folder.exists():
        assert time.monotonic() < end
        time.sleep(0.05)
    assert list((tmp_path / "cache" / "trackwarden").iterdir()) == []


@pytest.fixture
def idle() -> Iterator[Engine]:
    """An engine in this process whose watch has not begun."""
    made = Engine(Job(str(folders.new_session()), Open(take="take.wav")))
    yield made
    made._server.close()


def test_the_heartbeat_says_how_long_the_watch_took_no_turn(idle: Engine) -> None:
    """By that a window knows a driver that never answers."""
    idle._turned_at = time.monotonic() - 7.0
    assert isinstance(idle.heartbeat, Alive)
    assert idle.heartbeat.turn_s == pytest.approx(7.0, abs=0.5)


def test_what_a_driver_complains_of_is_bounded(idle: Engine) -> None:
    """Its words in the engine's error file begin anew beyond a megabyte."""
    words = engines.words_of(idle._folder)
    words.write_bytes(b"x" * 900_000)
    idle._bound_words()
    assert words.stat().st_size == 900_000
    words.write_bytes(b"x" * 1_000_001)
    idle._bound_words()
    assert words.stat().st_size == 0


def test_a_thread_of_the_engine_survives_what_is_raised_in_one_round(idle: Engine) -> None:
    """The heartbeat goes on though looking after the windows fails."""
    beats = []
    idle._server.publish = beats.append  # type: ignore[method-assign]
    idle._server.look_after = lambda: 1 / 0  # type: ignore[method-assign,assign]
    threading.Thread(target=idle._beat, daemon=True).start()
    end = time.monotonic() + 30.0
    while len(beats) < 3:
        assert time.monotonic() < end
        time.sleep(0.02)
    idle._over.set()


def test_ten_crashes_within_a_minute_lead_to_a_reduced_watch() -> None:
    """The eleventh engine watches levels, muted and silent alone, and says what crashed."""
    folder = folders.new_session()
    engines.ensured(engines.runtime_of(folder))
    engines.words_of(folder).write_text("Traceback\nZeroDivisionError: no frames\n")
    for crashes in range(MOST_CRASHES + 1):
        made = Engine(Job(str(folder), Open(take="take.wav")))
        made._server.close()
        assert (made._reduced() != "") == (crashes >= MOST_CRASHES)
    assert made._reduced() == "ZeroDivisionError: no frames"


def test_terminate_ends_a_watch_in_good_order(tmp_path: Path) -> None:
    """As a shutdown of the computer does it (SIGTERM): the log has its end, nothing is resumed."""
    take = tmp_path / "take.wav"
    soundfile.write(take, np.zeros((480_000, 2)), 48_000)
    client = EngineClient(Open(take=str(take)))
    _wait_for(client)
    running = engines.running_in(client.folder)
    assert running is not None
    os.kill(running.pid, signal.SIGTERM)
    end = time.monotonic() + 30.0
    while engines.left_running(client.folder) is not None:
        assert time.monotonic() < end
        time.sleep(0.02)
    with SessionReader(client.folder) as log:
        assert [run.end_reason for run in log.runs()] == ["stopped by engine"]
    client.close()
