"""The engine's end of the connection: listens for windows and sends each the newest snapshot."""

from __future__ import annotations

import threading
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import AuthenticationError
from typing import Any, Final

from engine.model.client_id import FOLLOWERS, ClientId
from engine.model.commands import Watch
from engine.model.engine_address import Address
from engine.runtime.ipc import HANDSHAKE_S, Connection, Listening, NewestSender, forget
from engine.runtime.wire import Alive, Message, State, WireError, unpack

SILENT_S: Final = 5.0
"""A window that says nothing for this long is frozen."""

MOST_STRANGERS: Final = 16
"""So many connections may be about to show the key at once; more are turned away. Ours."""

_ACCEPT_PAUSE_S: Final = 0.1

Hear = Callable[[ClientId, Any], None]
"""Given who said something and what: "came", "left", "silent", "back", or a command."""


@dataclass(slots=True)
class _Peer:
    who: ClientId
    sender: NewestSender
    last_sign_at: float
    silent: bool = False
    leaving: bool = False


class Server:
    """Every window that looks at this engine. No call waits for one.

    Parameters
    ----------
    address : Address
    hear : callable
        Called on threads of the server's own; what it raises ends no thread.
    clock : callable
        Seconds on a steady scale.
    """

    def __init__(
        self, address: Address, hear: Hear, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._address, self._hear, self._clock = address, hear, clock
        self._listening = Listening(address)
        self._peers: dict[Connection, _Peer] = {}
        self._strangers: dict[Connection, float] = {}
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
                peer.sender.replace(Message(self._watch, state))

    def begin(self, watch: Watch) -> None:
        """From now on every message says what is watched."""
        with self._lock:
            self._watch = watch

    @property
    def windows(self) -> int:
        """How many windows and terminals look, frozen ones too."""
        with self._lock:
            return self._count()

    def leaves(self, who: ClientId) -> bool:
        """Take note that a window is about to leave; True where no other one stays.

        Of two that leave in the same moment, each would otherwise count on the other.
        """
        with self._lock:
            for peer in self._peers.values():
                if peer.who == who and not peer.leaving:
                    peer.leaving = True
                    break  # a process may look twice
            return not any(
                peer.who.place not in FOLLOWERS and not peer.leaving
                for peer in self._peers.values()
            )

    @property
    def alone_s(self) -> float:
        """For how long no window has looked, s."""
        with self._lock:
            return 0.0 if self._count() else self._clock() - self._alone_since

    def _count(self) -> int:
        return sum(peer.who.place not in FOLLOWERS for peer in self._peers.values())

    def look_after(self) -> None:
        """Tell of windows that went silent or came back; to be called now and then.

        Who has not shown the key in time is turned away.
        """
        now, changed = self._clock(), []
        with self._lock:
            for peer in self._peers.values():
                silent = now - peer.last_sign_at > SILENT_S
                if silent != peer.silent:
                    peer.silent = silent
                    changed.append((peer.who, "silent" if silent else "back"))
            late = [c for c, since in self._strangers.items() if now - since > HANDSHAKE_S]
        for connection in late:
            connection.close()
        for who, what in changed:
            self._tell(who, what)

    def close(self) -> None:
        """Let go of every window and of the address."""
        self._closed = True
        self._listening.close()
        with self._lock:
            connections, strangers = list(self._peers), list(self._strangers)
        for connection in connections:
            self._drop(connection)
        for connection in strangers:
            connection.close()
        forget(self._address)

    def _tell(self, who: ClientId, what: Any) -> None:
        try:
            self._hear(who, what)
        except Exception:
            traceback.print_exc()

    # ---- on threads of its own ---------------------------------------------------------------

    def _accept(self) -> None:
        while not self._closed:
            try:
                connection = self._listening.accept()
            except OSError:  # closed, or out of file handles for a moment
                time.sleep(_ACCEPT_PAUSE_S)
                continue
            with self._lock:
                welcome = not self._closed and len(self._strangers) < MOST_STRANGERS
                if welcome:
                    self._strangers[connection] = self._clock()
            if not welcome:
                connection.close()
                continue
            threading.Thread(
                target=self._attend, args=(connection,), name="receiver", daemon=True
            ).start()

    def _attend(self, connection: Connection) -> None:
        """One connection from its first byte to its last."""
        with suppress(AuthenticationError, WireError, EOFError, OSError):
            connection.check_key(self._address.key)
            who = unpack(connection.recv())
            if isinstance(who, ClientId):
                self._take_on(connection, who)
                self._receive(connection, who)
        self._drop(connection)

    def _receive(self, connection: Connection, who: ClientId) -> None:
        while True:
            message = unpack(connection.recv())
            with self._lock:
                peer = self._peers.get(connection)
                if peer is None:
                    return
                peer.last_sign_at = self._clock()
            if not isinstance(message, Alive):
                self._tell(who, message)

    def _take_on(self, connection: Connection, who: ClientId) -> None:
        sender = NewestSender(connection, lambda: self._drop(connection))
        with self._lock:
            self._strangers.pop(connection, None)
            self._peers[connection] = _Peer(who, sender, self._clock())
            if self._state is not None:
                sender.replace(Message(self._watch, self._state))
        self._tell(who, "came")

    def _drop(self, connection: Connection) -> None:
        with self._lock:
            self._strangers.pop(connection, None)
            peer = self._peers.pop(connection, None)
            if peer is not None and peer.who.place not in FOLLOWERS:
                self._alone_since = self._clock()
        if peer is not None:
            peer.sender.close()
        connection.close()
        if peer is not None:
            self._tell(peer.who, "left")
