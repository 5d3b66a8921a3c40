"""A wire between two ends on this machine; cut, nothing comes through and nobody is told."""

from __future__ import annotations

import selectors
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress


class Wire:
    """Passes on what comes to `port`, unless it is cut; then connections stay open and silent."""

    def __init__(self, to_port: int) -> None:
        self._to_port = to_port
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listening.getsockname()[1])
        self._cut, self._over = threading.Event(), threading.Event()
        self._pairs: dict[socket.socket, socket.socket] = {}
        self._lost: list[socket.socket] = []
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def cut(self) -> None:
        """From now on nothing comes through."""
        self._cut.set()

    def mend(self) -> None:
        """New connections come through; those of before are lost."""
        self._cut.clear()

    def close(self) -> None:
        """Let go of everything."""
        self._over.set()
        self._thread.join(5.0)

    def _work(self) -> None:
        with selectors.DefaultSelector() as ready, self._listening:
            ready.register(self._listening, selectors.EVENT_READ)
            while not self._over.is_set():
                for key, _ in ready.select(0.02):
                    end = key.fileobj
                    assert isinstance(end, socket.socket)
                    if end is self._listening:
                        self._accept(ready)
                    elif end in self._pairs:
                        self._pass_on(ready, end)
                if self._cut.is_set():
                    for end in self._pairs:
                        ready.unregister(end)
                    self._lost += self._pairs
                    self._pairs.clear()
            for end in (*self._pairs, *self._lost):
                end.close()

    def _accept(self, ready: selectors.BaseSelector) -> None:
        here, _ = self._listening.accept()
        there = socket.create_connection(("127.0.0.1", self._to_port))
        for one, other in ((here, there), (there, here)):
            self._pairs[one] = other
            ready.register(one, selectors.EVENT_READ)

    def _pass_on(self, ready: selectors.BaseSelector, end: socket.socket) -> None:
        other, data = self._pairs[end], b""
        with suppress(OSError):
            data = end.recv(1 << 16)
            if data:
                other.sendall(data)
        if not data:
            for one in (end, other):
                ready.unregister(one)
                del self._pairs[one]
                one.close()


@contextmanager
def wire(to_port: int) -> Iterator[Wire]:
    """For as long as the block lasts."""
    made = Wire(to_port)
    try:
        yield made
    finally:
        made.close()
