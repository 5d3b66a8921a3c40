"""Starts engine processes that outlive who started them, and keeps a warm one in reserve."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import IO, Final

import engine
from engine.runtime.wire import Job, pack
from engine.session import engines
from engine.system.platform_calls import outliving

SPARE: Final = "--spare"
"""Load everything first and then wait for a job: such a process begins at once."""


class Starter:
    """Starts the engines of one window."""

    def __init__(self) -> None:
        self._started: list[subprocess.Popen[bytes]] = []
        self._spare: subprocess.Popen[bytes] | None = None

    def start(self, job: Job) -> None:
        """Give the job to the spare, else to a new process."""
        if self._spare is not None and self._spare.poll() is not None:
            self._drop_spare()
        process, self._spare = self._spare or _spawn(Path(job.folder)), None
        self._started.append(process)
        assert process.stdin is not None
        with suppress(OSError):
            process.stdin.write(pack(job))
            process.stdin.close()

    def keep_spare(self, folder: Path) -> None:
        """Have a process ready that has loaded everything; its errors go into that folder."""
        if self._spare is not None and self._spare.poll() is not None:
            self._drop_spare()
        if self._spare is None:
            self._spare = _spawn(folder, SPARE)

    @property
    def running(self) -> bool:
        """The engine started last has not ended."""
        return bool(self._started) and self._started[-1].poll() is None

    def close(self) -> None:
        """End the spare; engines go on."""
        self._drop_spare()
        for process in self._started:
            if process.poll() is None:
                process.returncode = 0  # meant to outlive us: nothing to complain of
        self._started.clear()

    def _drop_spare(self) -> None:
        spare, self._spare = self._spare, None
        if spare is not None:
            assert spare.stdin is not None
            spare.kill()  # it has nothing at stake
            spare.stdin.close()
            spare.wait()


def _spawn(folder: Path, *more: str) -> subprocess.Popen[bytes]:
    root = str(Path(engine.__file__).parents[1])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    file = engines.words_of(folder)
    engines.ensured(file.parent)
    with _private_file(file) as words:
        return subprocess.Popen(
            # -P: a folder of takes may hold files named like modules.
            [sys.executable, "-P", "-m", "engine.runtime.process", *more],
            stdin=subprocess.PIPE,
            stdout=words,
            stderr=words,
            cwd=file.parent,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
            **outliving(),
        )


def _private_file(path: Path) -> IO[bytes]:
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "ab")
