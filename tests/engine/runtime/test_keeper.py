"""Who starts an engine anew where no window does."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from engine.runtime.keeper import BEAT, HUNG_S, KEEPER_LOCK, LOCK, POLL_S, RUNNING, VACANT_S, Keeper
from engine.session.file_lock import FileLock, is_held
from tests.support.checkout import ROOT


class Session:
    """A session's runtime folder, and what the keeper did."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.starts = 0
        self.killed: list[int] = []
        (folder / RUNNING).write_text(json.dumps({"pid": 4711}))
        self.keeper = Keeper(folder, self._start, self.killed.append)

    def _start(self) -> None:
        self.starts += 1


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """Of an engine that has begun to watch."""
    return Session(tmp_path)


def test_an_engine_that_died_is_started_anew_once_no_window_did(session: Session) -> None:
    """Not before `VACANT_S`, and not where another engine has taken the session."""
    lock = FileLock(session.folder / LOCK)
    assert session.keeper.look(0.0)
    lock.release()
    assert session.keeper.look(1.0)
    assert session.keeper.look(1.0 + VACANT_S - 0.1)
    assert session.starts == 0
    by_window = FileLock(session.folder / LOCK)
    assert session.keeper.look(10.0)
    by_window.release()
    for now_s in (11.0, 11.0 + VACANT_S):
        assert session.keeper.look(now_s)
    assert session.starts == 1


def test_engines_that_die_again_and_again_are_started_again_and_again(session: Session) -> None:
    """At least one in two seconds, for as long as nobody ends the watch."""
    for n in range(241):
        assert session.keeper.look(n * 0.25)
    assert session.starts >= 30


def test_a_watch_that_ended_in_good_order_needs_no_keeper(session: Session) -> None:
    """Then it goes as well."""
    (session.folder / RUNNING).unlink()
    assert not session.keeper.look(0.0)
    assert session.starts == 0


def test_an_engine_without_a_heartbeat_is_ended(session: Session) -> None:
    """Only after `HUNG_S` without one, and not while it is still opening."""
    lock = FileLock(session.folder / LOCK)
    assert session.keeper.look(0.0)
    assert session.keeper.look(1000.0)
    beat = session.folder / BEAT
    for n in range(100):
        beat.touch()
        os.utime(beat, (n, n))
        assert session.keeper.look(1000.0 + n)
    assert session.killed == []
    silent = round(HUNG_S / POLL_S)
    for n in range(1, silent):
        session.keeper.look(1099.0 + n * POLL_S)
    assert session.killed == []
    for n in range(silent, silent + 8):
        session.keeper.look(1099.0 + n * POLL_S)
    assert session.killed == [4711]
    lock.release()


def test_a_computer_that_stood_still_for_an_hour_costs_no_engine(session: Session) -> None:
    """Keeper and engine were stopped both: no heartbeat was due."""
    lock = FileLock(session.folder / LOCK)
    beat = session.folder / BEAT
    for n in range(20):
        beat.touch()
        os.utime(beat, (n, n))
        assert session.keeper.look(3600.0 * n)
        assert session.keeper.look(3600.0 * n + POLL_S)
    assert session.killed == []
    lock.release()


@pytest.mark.end_to_end
def test_a_session_has_one_keeper_which_goes_with_it(session: Session) -> None:
    """As a process: the second leaves at once, the first when the watch has ended."""
    command = [sys.executable, "-m", "engine.runtime.keeper", str(session.folder)]
    engine = FileLock(session.folder / LOCK)
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE) as keeper:
        assert keeper.stdin is not None
        keeper.stdin.close()
        while not is_held(session.folder / KEEPER_LOCK):
            assert keeper.poll() is None
        assert subprocess.run(command, cwd=ROOT, input=b"", timeout=60).returncode == 0
        assert keeper.poll() is None
        (session.folder / RUNNING).unlink()
        assert keeper.wait(30) == 0
    engine.release()
