"""The channel between window and engine: one address, usable by the same user alone.

A local socket or named pipe, never the network. What is sent are plain frozen dataclasses.
"""

from __future__ import annotations

import os
import secrets
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from engine.commands import Open


@dataclass(frozen=True, slots=True)
class Address:
    """Where an engine listens, and the key that both ends must know."""

    path: str
    key: bytes


def new_address() -> Address:
    """A fresh address in a folder that only this user can enter."""
    key = secrets.token_bytes(32)
    if sys.platform == "win32":
        return Address(rf"\\.\pipe\trackwarden-{os.getpid()}-{secrets.token_hex(8)}", key)
    folder = Path(tempfile.mkdtemp(prefix="trackwarden-"))  # mkdtemp: readable by its owner alone
    return Address(str(folder / "engine"), key)


def forget(address: Address) -> None:
    """Remove what an address left in the file system."""
    if sys.platform != "win32":
        path = Path(address.path)
        with suppress(OSError):
            path.unlink(missing_ok=True)
            path.parent.rmdir()


@dataclass(frozen=True, slots=True)
class Failed:
    """The watch could not be opened; `reason` is one clear line (a line for each plan mistake)."""

    reason: str


@dataclass(frozen=True, slots=True)
class Progress:
    """What keeps the watch from beginning, one line."""

    text: str


@dataclass(frozen=True, slots=True)
class Job:
    """What a new engine process reads from its standard input, pickled by its own parent."""

    address: Address
    request: Open


class NewestSender:
    """Sends to one peer from a thread of its own: a peer that does not read blocks nobody.

    `replace` drops whatever was not sent yet: the newest wins.
    """

    def __init__(self, connection: Connection, gone: Callable[[], None]) -> None:
        self._connection = connection
        self._gone = gone
        self._newest: Any = None
        self._wake = threading.Condition()
        self._closed = False
        threading.Thread(target=self._run, name="sender", daemon=True).start()

    def replace(self, message: Any) -> None:
        """Send this next; never blocks."""
        with self._wake:
            self._newest = message
            self._wake.notify()

    def close(self) -> None:
        """Send no more."""
        with self._wake:
            self._closed = True
            self._wake.notify()

    def _run(self) -> None:
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._newest is not None or self._closed)
                if self._closed:
                    return
                message, self._newest = self._newest, None
            try:
                self._connection.send(message)
            except (OSError, ValueError):
                self._gone()
                return
