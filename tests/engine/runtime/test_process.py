"""The engine's process: a spare that is not needed goes, a session has one engine."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.model.client_id import ClientId
from engine.model.commands import Open, Stop
from engine.runtime import spawn
from engine.runtime.client import EngineClient, EngineFailedError
from engine.runtime.ipc import connect
from engine.runtime.spawn import SPARE, Starter
from engine.runtime.wire import Failed, Job, pack, unpack_message
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


def test_no_engine_waits_for_huge_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Unless whoever starts it wants them: numpy 2 manual, "Global state"."""
    asked: list[dict[str, str]] = []

    class Process:
        stdin = None

        def __init__(self, *_command: object, env: dict[str, str], **_more: object) -> None:
            asked.append(env)

    monkeypatch.setattr(spawn.subprocess, "Popen", Process)
    monkeypatch.delenv("NUMPY_MADVISE_HUGEPAGE", raising=False)
    Starter().keep_spare()
    monkeypatch.setenv("NUMPY_MADVISE_HUGEPAGE", "1")
    Starter().keep_spare()
    assert [env["NUMPY_MADVISE_HUGEPAGE"] for env in asked] == ["0", "1"]


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


def test_a_process_that_loads_already_takes_the_first_job(tmp_path: Path) -> None:
    """It is the engine of the session from then on, and says what it says into its folder."""
    take = tmp_path / "take.wav"
    soundfile.write(take, np.zeros((48_000, 2)), 48_000)
    starter = Starter()
    starter.keep_spare()
    spare = starter._spare
    assert spare is not None
    client = EngineClient(Open(take=str(take)), starter=starter)
    _wait_for(client)
    running = engines.running_in(client.folder)
    assert running is not None
    assert running.pid == spare.pid
    assert engines.words_of(client.folder).exists()
    client.close()


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
