"""Locks on files that the system lets go of whatever ends their holder. Standard library alone."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import IO, Final

from engine.system.platform_calls import lock_file

_TRIES: Final = 10
_PAUSE_S: Final = 0.02


class FileLock:
    """Held for as long as this process lives, or until `release`.

    Raises
    ------
    OSError
        Where another process holds it, or the file can't be made.
    """

    def __init__(self, path: Path) -> None:
        self._file = _open(path)
        tries = _TRIES  # somebody who only looks may hold it for a moment
        while True:
            try:
                return lock_file(self._file)
            except OSError:
                tries -= 1
                if not tries:
                    self._file.close()
                    raise
                time.sleep(_PAUSE_S)

    def release(self) -> None:
        """Let go of it."""
        self._file.close()


def is_held(path: Path) -> bool:
    """Some process holds the lock on that file."""
    try:
        with os.fdopen(os.open(path, os.O_RDWR), "r+b") as file:
            lock_file(file)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return False


def _open(path: Path) -> IO[bytes]:
    return os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o600), "r+b")
