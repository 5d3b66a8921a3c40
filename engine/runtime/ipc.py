"""The connection between window and engine: one address, usable by the same user alone.

A local socket or named pipe, never the network. What is sent is said in `engine.runtime.wire`.
"""

from __future__ import annotations

import os
import secrets
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from multiprocessing import AuthenticationError
from multiprocessing.connection import Client as Connector
from multiprocessing.connection import Listener, answer_challenge, deliver_challenge
from pathlib import Path
from typing import Any, Final

from engine.model.engine_address import Address
from engine.model.snapshot import Snapshot
from engine.runtime.wire import LONGEST_BYTES, Alive, Message, pack_message
from engine.system.platform_calls import PIPE_PREFIX, SOCKET_FAMILY, make_private, shut_down

BEAT_S: Final = 0.25
"""Engine and window say at least this often that they are alive."""

HANDSHAKE_S: Final = 5.0
"""Who has not shown the key by then is turned away. Ours."""

CLOSE_S: Final = 1.0
"""A message on its way has that long to fail where its connection is closed (Windows)."""

CARRIED_EVENTS: Final = 1000
"""Events that a snapshot takes over from those that were never sent."""

LONGEST_PATH: Final = 90
"""A socket's path has room for 104 bytes on macOS and 108 on Linux (`sun_path`, sys/un.h)."""

_SOCKET: Final = "engine"
_SHORT_FOLDERS: Final = ("/tmp", "/var/tmp", "/dev/shm")


def new_address(folder: Path | None = None) -> Address:
    """A fresh address in a folder that only this user can enter.

    `folder` is one made for it, used where its path is short enough for a socket.
    """
    key = secrets.token_bytes(32)
    if PIPE_PREFIX:
        return Address(f"{PIPE_PREFIX}-{os.getpid()}-{secrets.token_hex(8)}", key)
    if folder is not None:
        path = str(folder / f"{_SOCKET}-{secrets.token_hex(4)}")
        if len(os.fsencode(path)) <= LONGEST_PATH:
            return Address(path, key)
    return Address(str(_short_folder() / _SOCKET), key)


def _short_folder() -> Path:
    """A fresh private folder with a short path; mkdtemp makes it readable by its owner alone."""
    problem: OSError | None = None
    for parent in (tempfile.gettempdir(), *_SHORT_FOLDERS):
        if len(os.fsencode(parent)) + len("/trackwarden-12345678/engine") > LONGEST_PATH:
            continue
        try:
            return Path(tempfile.mkdtemp(prefix="trackwarden-", dir=parent))
        except OSError as error:
            problem = error
    raise problem or OSError("no folder for the engine's address")


class Connection:
    """One end of a connection: whole messages of bytes, one after the other."""

    def __init__(self, raw: Any) -> None:
        """`raw` is a connection of `multiprocessing`, of a type that differs by system."""
        self._raw = raw
        self._sending = threading.Lock()

    def send(self, data: bytes) -> None:
        """Send one message; waits for a slow reader. OSError where the other end is gone."""
        # Without the lock another thread may close the handle in the midst of it, and what is left
        # would go to whatever file has got its number since.
        with self._sending:
            self._raw.send_bytes(data)

    def recv(self) -> bytes:
        """The next message; EOFError or OSError where the other end is gone, or sends too much."""
        with self._closed_meanwhile():
            return bytes(self._raw.recv_bytes(LONGEST_BYTES))

    def poll(self, timeout_s: float) -> bool:
        """Whether a message begins to come within that time; OSError where it is closed."""
        with self._closed_meanwhile():
            return bool(self._raw.poll(timeout_s))

    @contextmanager
    def _closed_meanwhile(self) -> Iterator[None]:
        """A handle that another thread closed is None to the library."""
        try:
            yield
        except TypeError as error:
            if self._raw.closed:
                raise OSError("closed meanwhile") from error
            raise

    def close(self) -> None:
        """Let go of it; threads that wait on it, and the other end, see the end at once."""
        with suppress(OSError):
            shut_down(self._raw.fileno())
        sent = self._sending.acquire(timeout=CLOSE_S)
        with suppress(OSError):
            self._raw.close()
        if sent:
            self._sending.release()

    # ---- showing the key ---------------------------------------------------------------------

    def check_key(self, key: bytes) -> None:
        """As who listens: that the other end knows the key, and that we do.

        Raises
        ------
        AuthenticationError
            Where it does not.
        OSError, EOFError
            Where it is gone, or says nothing for `HANDSHAKE_S`.
        """
        patient: Any = _Patient(self._raw)
        deliver_challenge(patient, key)
        answer_challenge(patient, key)

    def show_key(self, key: bytes) -> None:
        """The same as who connects."""
        patient: Any = _Patient(self._raw)
        answer_challenge(patient, key)
        deliver_challenge(patient, key)


class _Patient:
    """A raw connection on which nothing is waited for longer than a handshake may take."""

    def __init__(self, raw: Any) -> None:
        self._raw = raw
        self._until = time.monotonic() + HANDSHAKE_S
        self.send_bytes = raw.send_bytes

    def recv_bytes(self, longest: int) -> bytes:
        if not self._raw.poll(max(self._until - time.monotonic(), 0.0)):
            raise TimeoutError("no answer")
        return bytes(self._raw.recv_bytes(longest))


class Listening:
    """Where windows connect; what comes in has yet to show the key.

    Raises
    ------
    OSError
        Where nothing can listen there.
    """

    def __init__(self, address: Address) -> None:
        self._listener = Listener(address.path, family=SOCKET_FAMILY)
        make_private(address.path)

    def accept(self) -> Connection:
        """Wait for the next one; OSError where that fails, or once closed."""
        return Connection(self._listener.accept())

    def close(self) -> None:
        """Listen no more."""
        with suppress(OSError):
            self._listener.close()


def connect(address: Address) -> Connection:
    """Connect to who listens there, and show the key.

    Raises
    ------
    OSError, EOFError
        Where nobody listens there, it is ending, or it does not answer.
    AuthenticationError
        Where the key is another.
    """
    connection = Connection(Connector(address.path, family=SOCKET_FAMILY))
    try:
        connection.show_key(address.key)
    except (AuthenticationError, EOFError, OSError):
        connection.close()
        raise
    return connection


def forget(address: Address) -> None:
    """Remove what an address left in the file system."""
    if not PIPE_PREFIX:
        path = Path(address.path)
        with suppress(OSError):
            path.unlink(missing_ok=True)
        if path.name == _SOCKET:  # in a folder of its own
            with suppress(OSError):
                path.parent.rmdir()


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
        state = message.state
        with self._wake:
            waits = None if self._newest is None else self._newest.state
            if isinstance(state, Alive) and waits is not None:
                return  # what waits says so too
            if isinstance(state, Snapshot) and isinstance(waits, Snapshot):
                state = carry_events(waits, state)
            self._newest = Message(message.watch, state)
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
                message, self._newest = self._newest, None
                if self._closed or message is None:
                    return
            try:
                self._connection.send(pack_message(message))
            except Exception:  # gone, or a state that can't be sent: this window alone suffers
                self._gone()
                return
