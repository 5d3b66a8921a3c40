"""Starts the engine of a live watch anew where no window does (`engine.runtime.keeper FOLDER`).

A window replaces an engine that dies within a second or two, but a watch goes on without windows.
This small process stands beside the engine: it looks whether the session's lock is held, and
whether the engine's heartbeat goes on. A process of our own rather than a service of the system,
because it is the same on every system; standard library alone, so that it weighs little.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from engine.runtime.patience import Patience
from engine.session.file_lock import FileLock, is_held
from engine.system import platform_calls

RUNNING: Final = "running.json"
LOCK: Final = "lock"
BEAT: Final = "beat"
"""Touched by the engine while its watch takes turns."""
KEEPER_LOCK: Final = "keeper"
WORDS: Final = "engine.txt"

POLL_S: Final = 0.25

VACANT_S: Final = 1.5
"""A session without an engine for this long has no window that replaces it. Ours."""

HUNG_S: Final = 20.0
"""An engine without a heartbeat for this long is ended; windows do it sooner. Ours."""


class Keeper:
    """Looks after one session's engine.

    Parameters
    ----------
    folder : Path
        The session's runtime folder.
    start : callable
        Starts an engine that resumes the session.
    kill : callable
        Ends the process of that number.
    """

    def __init__(
        self, folder: Path, start: Callable[[], object], kill: Callable[[int], object]
    ) -> None:
        self._folder, self._start, self._kill = folder, start, kill
        self._vacant_since: float | None = None
        self._beat: float | None = None
        self._patience = Patience(2 * POLL_S, 0.0)

    def look(self, now_s: float) -> bool:
        """Look once, by a steady clock; False where the watch has ended in good order."""
        if not (self._folder / RUNNING).exists():
            return False
        if is_held(self._folder / LOCK):
            self._vacant_since = None
            self._look_at_beat(now_s)
            return True
        self._beat = None
        if self._vacant_since is None:
            self._vacant_since = now_s
        elif now_s - self._vacant_since >= VACANT_S:
            self._vacant_since = None
            self._start()
        return True

    def _look_at_beat(self, now_s: float) -> None:
        try:
            beat = (self._folder / BEAT).stat().st_mtime
        except OSError:
            return  # still opening
        waited_s = self._patience.look(now_s)
        if beat != self._beat:
            self._beat = beat
            self._patience.came()
        elif waited_s > HUNG_S:
            self._patience.came()
            with suppress(OSError, ValueError, KeyError, TypeError):
                text = (self._folder / RUNNING).read_text(encoding="utf-8")
                self._kill(int(json.loads(text)["pid"]))


def start_beside(folder: Path, job: bytes) -> None:
    """Have a keeper for the session in that runtime folder; `job` is what its engines are to do.

    Does nothing where it has one. OSError where no process can be started.
    """
    if is_held(folder / KEEPER_LOCK):
        return
    _start(folder, job, "engine.runtime.keeper", str(folder))


def _start(folder: Path, job: bytes, *module: str) -> None:
    """A process that outlives this one, with the job on its input."""
    with (folder / WORDS).open("ab") as words:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", *module],
            stdin=subprocess.PIPE,
            stdout=words,
            stderr=words,
            cwd=folder,
            **platform_calls.outliving(),
        )
    assert process.stdin is not None
    with suppress(OSError):
        process.stdin.write(job)
        process.stdin.close()
    process.returncode = 0  # meant to outlive us: nothing to complain of


def main() -> None:
    """Keep the session of the runtime folder that is named, until its watch ends."""
    folder = Path(sys.argv[1])
    job = sys.stdin.buffer.read()
    try:
        lock = FileLock(folder / KEEPER_LOCK)
    except OSError:
        return  # it has one
    platform_calls.leave_no_zombies()
    keeper = Keeper(
        folder,
        lambda: _start(folder, job, "engine.runtime.process"),
        platform_calls.end_process,
    )
    while keeper.look(time.monotonic()):
        time.sleep(POLL_S)
    lock.release()
    with suppress(OSError):
        (folder / KEEPER_LOCK).unlink()
        folder.rmdir()


if __name__ == "__main__":
    main()
