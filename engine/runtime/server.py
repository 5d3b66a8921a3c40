"""The engine's end of the connection: listens for windows and sends each the newest snapshot."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import AuthenticationError
from typing import Any, Final

from engine.model.client_id import FOLLOWERS, ClientId
from engine.model.commands import Watch
from engine.model.engine_address import Address
from engine.runtime.ipc import Alive, Connection, NewestSender, State, forget, hang_up, listen

SILENT_S: Final = 5.0
"""A window that says nothing for this long is frozen."""

Hear = Callable[[ClientId, Any], None]
"""Given who said something and what: "came", "left", "silent", "back", or a command."""


@dataclass(slots=True)
class _Peer:
    who: ClientId
    sender: NewestSender
    last_sign_at: float
    silent: bool = False


class Server:
    """Every window that looks at this engine. No call waits for one.

    Parameters
    ----------
    address : Address
    hear : callable
        Called on threads of the server's own.
    clock : callable
        Seconds on a steady scale.
    """

    def __init__(
        self, address: Address, hear: Hear, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._address, self._hear, self._clock = address, hear, clock
        self._listener = listen(address)
        self._peers: dict[Connection, _Peer] = {}
        self._lock = threading.Lock()
        self._watch: Watch | None = None
        self._state: State | None = None
        self._alone_since = clock()
        self._closed = False
        threading.Thread(target=self._accept, name="listener", daemon=True).start()

    def publish(self, state: State) -> None:
        """Give that to every window; never blocks."""
        with self._lock:
            if not isinstance(state, Alive):
                self._state = state
            for peer in self._peers.values():
                peer.sender.replace((self._watch, state))

    def begin(self, watch: Watch) -> None:
        """From now on every message says what is watched."""
        with self._lock:
            self._watch = watch

    @property
    def windows(self) -> int:
        """How many windows and terminals look, frozen ones too."""
        with self._lock:
            return self._count()

    @property
    def alone_s(self) -> float:
        """For how long no window has looked, s."""
        with self._lock:
            return 0.0 if self._count() else self._clock() - self._alone_since

    def _count(self) -> int:
        return sum(peer.who.place not in FOLLOWERS for peer in self._peers.values())

    def look_after(self) -> None:
        """Tell of windows that went silent or came back; to be called now and then."""
        now, changed = self._clock(), []
        with self._lock:
            for peer in self._peers.values():
                silent = now - peer.last_sign_at > SILENT_S
                if silent != peer.silent:
                    peer.silent = silent
                    changed.append((peer.who, "silent" if silent else "back"))
        for who, what in changed:
            self._hear(who, what)

    def close(self) -> None:
        """Let go of every window and of the address."""
        self._closed = True
        with suppress(OSError):
            self._listener.close()
        with self._lock:
            connections = list(self._peers)
        for connection in connections:
            self._drop(connection)
        forget(self._address)

    def _accept(self) -> None:
        while True:
            try:
                connection = self._listener.accept()
            except (AuthenticationError, EOFError, ConnectionError):
                continue  # a stranger without the key: turned away, the watch goes on
            except OSError:
                return
            if self._closed:  # this thread may still wait when the listener is gone
                connection.close()
                return
            threading.Thread(
                target=self._receive, args=(connection,), name="receiver", daemon=True
            ).start()

    def _receive(self, connection: Connection) -> None:
        with suppress(EOFError, OSError):
            who = connection.recv()
            if not isinstance(who, ClientId):
                connection.close()
                return
            self._take_on(connection, who)
            while True:
                said = connection.recv()
                self._note_sign_of_life(connection)
                if not isinstance(said, Alive):
                    self._hear(who, said)
        self._drop(connection)

    def _note_sign_of_life(self, connection: Connection) -> None:
        with self._lock:
            peer = self._peers.get(connection)
            if peer is not None:
                peer.last_sign_at = self._clock()

    def _take_on(self, connection: Connection, who: ClientId) -> None:
        sender = NewestSender(connection, lambda: self._drop(connection))
        with self._lock:
            self._peers[connection] = _Peer(who, sender, self._clock())
            if self._state is not None:
                sender.replace((self._watch, self._state))
        self._hear(who, "came")

    def _drop(self, connection: Connection) -> None:
        with self._lock:
            peer = self._peers.pop(connection, None)
            if peer is None or peer.who.place not in FOLLOWERS:
                self._alone_since = self._clock()
        if peer is not None:
            peer.sender.close()
            hang_up(connection)
            self._hear(peer.who, "left")
