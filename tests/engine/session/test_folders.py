"""Session folders: private, one engine each, found again by windows."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from engine.model.commands import Open
from engine.plan.load import PlanError
from engine.session import engines, file_lock, folders
from engine.session.engines import Lock, Running
from tests.support.checkout import ROOT

RUNNING = Running("/run/engine", "00ff", 7, Open(device="tower"), "tower interface", True)


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions of another user than the one who tests."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))


def test_folders_are_private_and_never_shared() -> None:
    """Two sessions of one second have a folder each, open to their owner alone."""
    first, second = folders.new_session(0.0), folders.new_session(0.0)
    assert first != second
    assert first.name.startswith("19700101T000000Z-")
    if os.name == "posix":
        for folder in (first, second, first.parent):
            assert folder.stat().st_mode & 0o077 == 0


def test_a_running_engine_is_found_and_one_that_ended_is_not() -> None:
    """Who holds the lock runs; what it said of itself comes back whole, newest first."""
    old, new = folders.new_session(0.0), folders.new_session(100.0)
    for folder in (old, new):
        engines.say_running(folder, RUNNING)
    assert engines.running_watches(folders.sessions_folder()) == []
    locks = [Lock(old), Lock(new)]
    found = engines.running_watches(folders.sessions_folder())
    assert found == [(one, replace(RUNNING, folder=str(one))) for one in (new, old)]
    for lock in locks:
        lock.release()


def test_a_lock_is_taken_while_an_engine_that_ends_clears_up() -> None:
    """Whoever ends removes lock and folder at any moment: who comes next holds one that stands."""
    folder = folders.new_session()
    runtime = engines.runtime_of(folder)
    done = threading.Event()

    def clear_up() -> None:
        while not done.is_set():
            engines.forget_running(folder)

    ending = threading.Thread(target=clear_up)
    ending.start()
    try:
        for _ in range(300):
            engines.ensured(runtime)
    finally:
        done.set()
        ending.join()
    lock = Lock(folder)
    assert engines.is_locked(folder)
    lock.release()


def test_a_lock_that_was_removed_is_taken_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Between opening the file and locking it its last holder ends: two would hold one lock."""
    folder = folders.new_session()
    real, calls = file_lock.lock_file, []

    def lock_late(file) -> None:
        calls.append(file)
        if len(calls) == 1:
            engines.forget_running(folder)
        real(file)

    with monkeypatch.context() as late:
        late.setattr(file_lock, "lock_file", lock_late)
        lock = Lock(folder)
    assert len(calls) == 2
    assert engines.is_locked(folder)
    lock.release()


def test_what_is_said_of_a_running_engine_is_private_and_checked() -> None:
    """The key is readable by its owner alone; a file that somebody altered is no engine."""
    folder = folders.new_session()
    engines.say_running(folder, RUNNING)
    file = engines.runtime_of(folder) / "running.json"
    if os.name == "posix":
        assert file.stat().st_mode & 0o077 == 0
    assert engines.left_running(folder) == replace(RUNNING, folder=str(folder))
    file.write_text('{"path": 1}')
    assert engines.left_running(folder) is None


def test_a_session_has_one_engine() -> None:
    """Who comes second is refused, whoever only looks is not in the way."""
    folder = folders.new_session()
    lock = Lock(folder)
    assert engines.is_locked(folder)
    with pytest.raises(OSError, match=r"."):
        Lock(folder)
    lock.release()
    assert not engines.is_locked(folder)
    Lock(folder).release()


def test_the_lock_of_a_process_that_was_killed_is_free() -> None:
    """The system lets go of the lock, whatever ended the process."""
    folder = folders.new_session()
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom engine.session.engines import Lock\n"
        "lock = Lock(Path(sys.argv[1]))\nos.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(folder)], cwd=ROOT, timeout=60)
    assert done.returncode != 0
    assert not engines.is_locked(folder)


def test_a_session_keeps_its_own_copy_of_the_plan(tmp_path: Path) -> None:
    """A plan edited during the watch does not change what a restart reads."""
    plan = tmp_path / "tonight.toml"
    plan.write_text("[[track]]\ninput = 1\n")
    folder = folders.new_session()
    request = folders.with_own_plan(Open(device="tower", plan=str(plan)), folder)
    plan.write_bytes(b"\xef\xbb\xbfnonsense")
    assert request == replace(request, plan=str(folder / folders.PLAN))
    assert (folder / folders.PLAN).read_text() == "[[track]]\ninput = 1\n"
    with pytest.raises(PlanError):
        folders.with_own_plan(Open(device="tower", plan=str(plan)), folder)
