"""Starts engine processes that outlive who started them, and keeps a warm one in reserve."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

import engine
from engine.system.platform_calls import outliving

if TYPE_CHECKING:  # a spare is started before what a job is written with is loaded
    from engine.runtime.wire import Job

SPARE: Final = "--spare"
"""Load everything first and then wait for a job: such a process begins at once."""

_HUGE_PAGES: Final = "NUMPY_MADVISE_HUGEPAGE"
"""Whether numpy asks for pages of 2 MiB. The first samples of each track would wait until one was
found and cleared for its minute in the headphones: 0.2 s and more of a start (measured)."""


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
        from engine.runtime.wire import pack

        with suppress(OSError):
            process.stdin.write(pack(job))
            process.stdin.close()

    def keep_spare(self) -> None:
        """Have a process ready that has loaded everything, or begins to."""
        if self._spare is not None and self._spare.poll() is not None:
            self._drop_spare()
        if self._spare is None:
            self._spare = _process(SPARE, stdout=subprocess.DEVNULL)

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


def _spawn(folder: Path) -> subprocess.Popen[bytes]:
    """A process for a session in that folder: what it says is kept there from the first word on."""
    from engine.session import engines

    file = engines.words_of(folder)
    engines.ensured(file.parent)
    with _private_file(file) as words:
        return _process(stdout=words, stderr=words, cwd=file.parent)


def _process(*words: str, **more: Any) -> subprocess.Popen[bytes]:
    root = str(Path(engine.__file__).parents[1])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    return subprocess.Popen(
        # -P: a folder of takes may hold files named like modules.
        [sys.executable, "-P", "-m", "engine.runtime.process", *words],
        stdin=subprocess.PIPE,
        env={_HUGE_PAGES: "0", **os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        **more,
        **outliving(),
    )


def speak_into(folder: Path) -> None:
    """From now on this process says what it says into the session's file, and lies there."""
    from engine.session import engines

    file = engines.words_of(folder)
    os.chdir(engines.ensured(file.parent))
    with _private_file(file) as words:
        for stream in (1, 2):
            os.dup2(words.fileno(), stream)


def _private_file(path: Path) -> IO[bytes]:
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "ab")
