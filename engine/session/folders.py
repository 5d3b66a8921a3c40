"""Session folders: one for each watch, readable by its owner alone.

A folder holds the log (`session.sqlite`), a copy of the plan, what the engine said last
(`engine.txt`), and while an engine runs `running.json`: where it listens and the key. Who holds
the lock on `lock` is the session's one engine; the system lets go of it whatever ends the process.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Final

from platformdirs import user_data_path

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.engine_address import Address
from engine.plan.load import load_plan
from engine.sources.base import SourceError

LOG: Final = "session.sqlite"
PLAN: Final = "plan.toml"
WORDS: Final = "engine.txt"
_RUNNING: Final = "running.json"
_LOCK: Final = "lock"
_LOCK_TRIES: Final = 10

GO_ON_S: Final = 12 * 3600.0
"""A watch that broke off longer ago was of another night."""


@dataclass(frozen=True, slots=True)
class Running:
    """What a running engine says of itself. `key` is in hexadecimal."""

    path: str
    key: str
    pid: int
    request: Open
    source: str = ""
    live: bool = False

    @property
    def address(self) -> Address:
        """Where it listens."""
        return Address(self.path, bytes.fromhex(self.key))


def sessions_folder() -> Path:
    """Where all session folders are; made where it is missing."""
    folder = user_data_path("trackwarden", appauthor=False) / "sessions"
    if _writable(folder):
        return folder
    folder = _makeshift()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def not_kept() -> str:
    """Why sessions are not kept for good, one line; empty where they are."""
    folder = user_data_path("trackwarden", appauthor=False) / "sessions"
    if _writable(folder):
        return ""
    return f"{folder} can't be written: this session lies in {_makeshift()} and may be gone later"


def _writable(folder: Path) -> bool:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(folder, os.W_OK)


def _makeshift() -> Path:
    """Where sessions lie while the user's own folder can't be written."""
    user = hashlib.sha256(str(Path.home()).encode()).hexdigest()[:12]
    return Path(tempfile.gettempdir()) / f"trackwarden-{user}" / "sessions"


def find_session(name: str) -> Path:
    """The session folder of that name, or of the one name that holds this part, or of that path.

    Raises
    ------
    SourceError
        Where there is none, or there are several.
    """
    if Path(name, LOG).is_file():
        return Path(name)
    folders = sorted(path for path in sessions_folder().iterdir() if path.is_dir())
    matches = [path for path in folders if path.name == name]
    matches = matches or [path for path in folders if name.lower() in path.name.lower()]
    if len(matches) == 1:
        return matches[0]
    hint = "`trackwarden sessions` lists them"
    if not matches:
        raise SourceError(f"{name}: no such session: {hint}")
    raise SourceError(f"{name}: fits {len(matches)} sessions: give more of the name; {hint}")


def new_session(now_s: float | None = None) -> Path:
    """A fresh folder, named after the wall clock (UTC)."""
    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(now_s))
    while True:
        folder = sessions_folder() / f"{stamp}-{secrets.token_hex(2)}"
        with suppress(FileExistsError):
            folder.mkdir(mode=0o700)
            return folder


def write_private(path: Path, text: str) -> None:
    """Write a file that only its owner can read, whole or not at all."""
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
    os.replace(fresh, path)


def say_running(folder: Path, running: Running) -> None:
    """Tell windows where this session's engine listens."""
    write_private(folder / _RUNNING, dataclass_json.dumps(running))


def running_in(folder: Path) -> Running | None:
    """The engine that runs this session; None where none does."""
    return left_running(folder) if is_locked(folder) else None


def left_running(folder: Path) -> Running | None:
    """What the session's last engine said of itself, unless it ended in good order."""
    try:
        return dataclass_json.loads(Running, (folder / _RUNNING).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def running_watches() -> list[tuple[Path, Running]]:
    """Every session that an engine runs now, the newest first."""
    folders = sorted(sessions_folder().iterdir(), reverse=True)
    running = ((folder, running_in(folder)) for folder in folders if folder.is_dir())
    return [(folder, one) for folder, one in running if one is not None]


def broken_off(request: Open) -> Path | None:
    """The newest live session of exactly that request whose engine did not end in good order.

    None where none is younger than `GO_ON_S`, or where an engine runs it.
    """
    for folder in sorted(sessions_folder().iterdir(), reverse=True):
        running = left_running(folder)
        if running is None or not running.live or running.request != request:
            continue
        age_s = time.time() - (folder / _RUNNING).stat().st_mtime
        return folder if age_s < GO_ON_S and not is_locked(folder) else None
    return None


def with_own_plan(request: Open, folder: Path) -> Open:
    """The request with the session's own copy of its plan: a restart must not meet another one.

    Raises
    ------
    PlanError
        Where the plan can't be read.
    """
    assert request.plan is not None
    load_plan(Path(request.plan))
    write_private(folder / PLAN, Path(request.plan).read_text(encoding="utf-8-sig"))
    return replace(request, plan=str(folder / PLAN))


def forget_running(folder: Path) -> None:
    """The engine ends in good order."""
    with suppress(OSError):
        (folder / _RUNNING).unlink()


class Lock:
    """Held by the one engine of a session for as long as its process lives.

    Raises
    ------
    OSError
        Where another process holds it.
    """

    def __init__(self, folder: Path) -> None:
        self._file = _open_lock(folder)
        tries = _LOCK_TRIES  # somebody who only looks may hold it for a moment
        while True:
            try:
                return _lock(self._file)
            except OSError:
                tries -= 1
                if not tries:
                    self._file.close()
                    raise
                time.sleep(0.02)

    def release(self) -> None:
        """Let go of it."""
        self._file.close()


def is_locked(folder: Path) -> bool:
    """A process runs this session."""
    if not (folder / _LOCK).exists():
        return False
    with _open_lock(folder) as file:
        try:
            _lock(file)
        except OSError:
            return True
    return False


def _open_lock(folder: Path) -> IO[bytes]:
    return os.fdopen(os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT, 0o600), "r+b")


def _lock(file: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
