"""Engines that run: where each lies while it does, how windows find it, who holds its session.

All that an engine needs to start lies in the system's runtime directory, which is in memory: a
full or read-only disk keeps none from starting. There, for each session, lie `running.json` (where
its engine listens, and the key), `engine.txt` (what the engine said last), `starts.json` and
`lock`. Who holds the lock is the session's one engine; the system lets go of it whatever ends the
process.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import IO, Final

from platformdirs import user_data_path, user_runtime_path

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.engine_address import Address
from engine.session.file_lock import FileLock, is_held
from engine.system.platform_calls import is_private, runtime_user

WORDS: Final = "engine.txt"
_RUNNING: Final = "running.json"
_STARTS: Final = "starts.json"
_LOCK: Final = "lock"
_BEAT: Final = "beat"
_INPUTS: Final = "inputs"
_MOST_STARTS: Final = 50
_TRIES: Final = 5

CRASH_WINDOW_S: Final = 60.0
"""Starts of engines are counted over so long. Ours."""


@dataclass(frozen=True, slots=True)
class Running:
    """What a running engine says of itself. `key` is in hexadecimal.

    folder : the session's folder
    schema : see `engine.runtime.wire`; another one is another version of the program
    """

    path: str
    key: str
    pid: int
    request: Open
    source: str = ""
    live: bool = False
    folder: str = ""
    schema: str = ""

    @property
    def address(self) -> Address:
        """Where it listens."""
        return Address(self.path, bytes.fromhex(self.key))


def write_private(path: Path, text: str) -> None:
    """Write a file that only its owner can read, whole or not at all.

    Raises
    ------
    OSError
        Where it can't be written; what was there before stays.
    """
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(fresh, path)
    except OSError:
        with suppress(OSError):
            fresh.unlink()
        raise


def runtime_of(folder: Path) -> Path:
    """What the engine of the session in that folder needs while it runs; may not exist."""
    whole = os.path.abspath(folder)
    return _runtime_base() / _short_hash(os.path.dirname(whole)) / os.path.basename(whole)


def ensured(folder: Path) -> Path:
    """That folder, made where it is missing, for its owner alone; OSError where it can't be."""
    for tries_left in reversed(range(_TRIES)):
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            break
        except FileExistsError:  # it stood there, and an engine that ended took it away meanwhile
            if not tries_left:
                raise
    return folder


def _runtime_base() -> Path:
    """A folder of this user alone, in memory where the system has one; a private one elsewhere."""
    for folder in _candidates():
        if _is_usable(folder):
            return Path(folder)
    return user_data_path("trackwarden", appauthor=False) / "run"


def _candidates() -> Iterator[str]:
    """XDG Base Directory Specification; `/dev/shm` (shm_overview(7)) is in memory as well."""
    user = runtime_user()
    if user is None:
        yield str(user_runtime_path("trackwarden", appauthor=False))
        return
    yield os.path.join(os.environ.get("XDG_RUNTIME_DIR") or f"/run/user/{user}", "trackwarden")
    yield f"/dev/shm/trackwarden-{user}"
    yield os.path.join(tempfile.gettempdir(), f"trackwarden-{user}")


@cache
def _is_usable(folder: str) -> bool:
    """It is ours alone and can be written to; made where it is missing, but not its parent."""
    try:
        Path(folder).mkdir(mode=0o700, exist_ok=True)
        here = os.stat(folder, follow_symlinks=False)
    except OSError:
        return False
    return is_private(here) and stat.S_ISDIR(here.st_mode) and os.access(folder, os.W_OK)


def _short_hash(text: str) -> str:
    return hashlib.sha256(os.fsencode(text)).hexdigest()[:8]


def words_of(folder: Path) -> Path:
    """What the session's engine wrote to its error output."""
    return runtime_of(folder) / WORDS


def last_words(folder: Path) -> str:
    """The last line that an engine of that session wrote on its way out."""
    try:
        lines = words_of(folder).read_text(errors="replace").strip().splitlines()
    except OSError:
        lines = []
    return lines[-1] if lines else "no reason given"


def say_running(folder: Path, running: Running) -> None:
    """Tell windows where this session's engine listens."""
    text = dataclass_json.dumps(replace(running, folder=os.path.abspath(folder)))
    write_private(ensured(runtime_of(folder)) / _RUNNING, text)


def running_in(folder: Path) -> Running | None:
    """The engine that runs this session; None where none does."""
    return left_running(folder) if is_locked(folder) else None


def left_running(folder: Path) -> Running | None:
    """What the session's last engine said of itself, unless it ended in good order."""
    return _read_running(runtime_of(folder))


def _read_running(runtime: Path) -> Running | None:
    try:
        return dataclass_json.loads(Running, (runtime / _RUNNING).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def unended(sessions: Path) -> Iterator[tuple[Path, Running]]:
    """Every session of that folder whose engine has not ended in good order, the newest first."""
    with suppress(OSError):
        for runtime in sorted(runtime_of(sessions / "any").parent.iterdir(), reverse=True):
            running = _read_running(runtime)
            if running is not None and running.folder:
                yield Path(running.folder), running


def running_watches(sessions: Path) -> list[tuple[Path, Running]]:
    """Every session of that folder that an engine runs now, the newest first."""
    return [(folder, running) for folder, running in unended(sessions) if is_locked(folder)]


def say_ended(folder: Path) -> None:
    """The session's engine ends in good order; one that breaks off without this is followed."""
    with suppress(OSError):
        (runtime_of(folder) / _RUNNING).unlink()


def forget_running(folder: Path) -> None:
    """The engine ends in good order."""
    runtime = runtime_of(folder)
    for file in (_RUNNING, _STARTS, WORDS, _BEAT, _LOCK):
        with suppress(OSError):
            (runtime / file).unlink()
    with suppress(OSError):
        runtime.rmdir()  # what the log could not take in stays


def began_s(folder: Path) -> float:
    """When the session's engine last said where it listens, s since 1970; 0 where it never did."""
    try:
        return (runtime_of(folder) / _RUNNING).stat().st_mtime
    except OSError:
        return 0.0


def beat(folder: Path) -> None:
    """The session's watch takes turns; OSError where that can't be noted."""
    (runtime_of(folder) / _BEAT).touch(mode=0o600)


def note_start(folder: Path, now_s: float) -> int:
    """An engine of that session starts, by the steady clock; how many did in the last minute."""
    file = runtime_of(folder) / _STARTS
    try:
        starts = [float(at_s) for at_s in json.loads(file.read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError):
        starts = []
    starts = [at_s for at_s in starts if 0.0 <= now_s - at_s < CRASH_WINDOW_S][-_MOST_STARTS:]
    starts.append(now_s)
    with suppress(OSError):
        write_private(ensured(file.parent) / _STARTS, json.dumps(starts))
    return len(starts)


class _RuntimeLock(FileLock):
    """Its folder is made anew where an engine that ends takes it away just then."""

    def _open(self) -> IO[bytes]:
        ensured(self._path.parent)
        return super()._open()


class Lock(_RuntimeLock):
    """Held by the one engine of a session for as long as its process lives.

    Raises
    ------
    OSError
        Where another process holds it.
    """

    def __init__(self, folder: Path) -> None:
        super().__init__(runtime_of(folder) / _LOCK)


class InputLock(_RuntimeLock):
    """The same for a live input, by its name: two watches that begin at once do not both open it.

    Raises
    ------
    OSError
        Where another process watches that input.
    """

    def __init__(self, sessions: Path, name: str) -> None:
        super().__init__(runtime_of(sessions / _INPUTS) / _short_hash(name))


def is_locked(folder: Path) -> bool:
    """A process runs this session."""
    return is_held(runtime_of(folder) / _LOCK)
