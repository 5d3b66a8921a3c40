"""The connection between window and engine: one address, usable by the same user alone.

A local socket or named pipe, never the network. What is sent are plain frozen dataclasses.
"""

from __future__ import annotations

import os
import secrets
import socket
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Client as Connector
from multiprocessing.connection import Listener
from pathlib import Path
from typing import Any, Final, Protocol

from engine.model.commands import Open, Watch
from engine.model.engine_address import Address
from engine.model.messages import Snapshot

BEAT_S: Final = 0.25
"""Engine and window say at least this often that they are alive."""

CARRIED_EVENTS: Final = 1000
"""Events that a snapshot takes over from those that were never sent."""


class Connection(Protocol):
    """One end of a connection, a socket or a named pipe; see `multiprocessing.connection`."""

    def send(self, obj: Any, /) -> None:
        """Send it; OSError where the other end is gone."""

    def recv(self) -> Any:
        """The next message; EOFError where the other end is gone."""

    def poll(self, timeout: float = 0.0, /) -> bool:
        """Whether a message came within that time, s."""

    def fileno(self) -> int:
        """The socket or pipe itself."""

    def close(self) -> None:
        """Let go of it."""


_FAMILY: Final = "AF_PIPE" if sys.platform == "win32" else "AF_UNIX"


def new_address() -> Address:
    """A fresh address in a folder that only this user can enter."""
    key = secrets.token_bytes(32)
    if sys.platform == "win32":
        return Address(rf"\\.\pipe\trackwarden-{os.getpid()}-{secrets.token_hex(8)}", key)
    folder = Path(tempfile.mkdtemp(prefix="trackwarden-"))  # mkdtemp: readable by its owner alone
    return Address(str(folder / "engine"), key)


def listen(address: Address) -> Listener:
    """Listen there."""
    return Listener(address.path, family=_FAMILY, authkey=address.key)


def connect(address: Address) -> Connection:
    """Connect to who listens there; OSError where nobody does, EOFError where it is ending."""
    return Connector(address.path, family=_FAMILY, authkey=address.key)


def hang_up(connection: Connection) -> None:
    """Close it; a thread that waits for words on it, and the other end, see the end at once."""
    with suppress(OSError):
        if sys.platform != "win32":
            with socket.socket(fileno=os.dup(connection.fileno())) as end:
                end.shutdown(socket.SHUT_RDWR)
        connection.close()


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
class Elsewhere:
    """That input is watched already, by the engine of the session in that folder."""

    folder: str


@dataclass(frozen=True, slots=True)
class Alive:
    """A heartbeat. From an engine: `turn_s` since its watch last took a turn; from a window: 0."""

    turn_s: float = 0.0


State = Failed | Progress | Elsewhere | Alive | Snapshot
Message = tuple[Watch | None, State]


@dataclass(frozen=True, slots=True)
class Job:
    """What a new engine process reads from its standard input, pickled by its own parent.

    folder : the session's folder
    resume : go on from where the session's last engine broke off
    """

    folder: str
    request: Open
    resume: bool = False


def carry_events(older: Snapshot | None, newer: Snapshot) -> Snapshot:
    """The newer snapshot with the events of an older one that was not seen."""
    if older is None or not older.events:
        return newer
    return replace(newer, events=(older.events + newer.events)[-CARRIED_EVENTS:])


class NewestSender:
    """Sends to one peer from a thread of its own: a peer that does not read blocks nobody.

    `replace` drops what was not sent yet, but for its events: the newest wins.
    """

    def __init__(self, connection: Connection, gone: Callable[[], None]) -> None:
        self._connection = connection
        self._gone = gone
        self._newest: Message | None = None
        self._wake = threading.Condition()
        self._closed = False
        threading.Thread(target=self._run, name="sender", daemon=True).start()

    def replace(self, message: Message) -> None:
        """Send this next; never blocks."""
        watch, state = message
        with self._wake:
            waits = None if self._newest is None else self._newest[1]
            if isinstance(state, Alive) and waits is not None:
                return  # what waits says so too
            if isinstance(state, Snapshot) and isinstance(waits, Snapshot):
                state = carry_events(waits, state)
            self._newest = (watch, state)
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
