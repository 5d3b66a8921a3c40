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
        self._path = path
        tries = _TRIES  # somebody who only looks may hold it for a moment, or who ends remove it
        while True:
            try:
                self._file = self._locked()
                return
            except OSError:
                tries -= 1
                if not tries:
                    raise
                time.sleep(_PAUSE_S)

    def release(self) -> None:
        """Let go of it."""
        self._file.close()

    def _open(self) -> IO[bytes]:
        return os.fdopen(os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600), "r+b")

    def _locked(self) -> IO[bytes]:
        file = self._open()
        try:
            lock_file(file)
            if not os.path.samestat(os.fstat(file.fileno()), os.stat(self._path)):
                raise FileNotFoundError(f"{self._path} was removed while it was locked")
        except OSError:
            file.close()
            raise
        return file


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
