"""The watch in a process of its own: `python -m engine.process`, told what to do on its input.

A window connects, is told once what is watched, and then gets the newest snapshot as often as it
can take one; its commands come back the same way. Nothing a window does can hold up the watch.
"""

from __future__ import annotations

import os
import pickle
import sys
import threading
import time
from contextlib import suppress
from multiprocessing.connection import Connection, Listener
from typing import Final

from engine.channel import Address, Failed, Job, NewestSender, Progress, forget
from engine.commands import Stop, Watch
from engine.model import Snapshot
from engine.plan import PlanError
from engine.sources.base import SourceError

ALONE_S: Final = 10.0
"""Without any window for this long, a watch that nobody looks at ends."""


class Server:
    """Listens for windows and hands them whatever is newest."""

    def __init__(self, address: Address) -> None:
        self._address = address
        family = "AF_PIPE" if sys.platform == "win32" else "AF_UNIX"
        self._listener = Listener(address.path, family=family, authkey=address.key)
        self._senders: dict[Connection, NewestSender] = {}
        self._lock = threading.Lock()
        self._watch: Watch | None = None
        self._state: Failed | Progress | Snapshot | None = None
        self._commands: list[object] = []
        self.alone_since = time.monotonic()
        threading.Thread(target=self._accept, name="listener", daemon=True).start()

    def publish(self, state: Failed | Progress | Snapshot) -> None:
        """Give that to every window; never blocks."""
        with self._lock:
            self._state = state
            for sender in self._senders.values():
                sender.replace((self._watch, state))

    def begin(self, watch: Watch) -> None:
        """From now on every message says what is watched."""
        with self._lock:
            self._watch = watch

    def commands(self) -> list[object]:
        """What the windows asked since the last call."""
        with self._lock:
            asked, self._commands = self._commands, []
        return asked

    @property
    def alone_s(self) -> float:
        """Since when no window looks, s."""
        return 0.0 if self._senders else time.monotonic() - self.alone_since

    def close(self) -> None:
        """Let go of every window and of the address."""
        with suppress(OSError):
            self._listener.close()
        forget(self._address)

    def _accept(self) -> None:
        while True:
            try:
                connection = self._listener.accept()
            except OSError:
                return
            except Exception:  # a stranger without the key: turned away, the watch goes on
                continue
            sender = NewestSender(connection, lambda c=connection: self._drop(c))  # type: ignore[misc]
            with self._lock:
                self._senders[connection] = sender
                if self._state is not None:
                    sender.replace((self._watch, self._state))
            threading.Thread(
                target=self._receive, args=(connection,), name="receiver", daemon=True
            ).start()

    def _receive(self, connection: Connection) -> None:
        with suppress(EOFError, OSError):
            while True:
                command = connection.recv()
                with self._lock:
                    self._commands.append(command)
        self._drop(connection)

    def _drop(self, connection: Connection) -> None:
        with self._lock:
            sender = self._senders.pop(connection, None)
            self.alone_since = time.monotonic()
        if sender is not None:
            sender.close()
            with suppress(OSError):
                connection.close()


def serve(job: Job) -> None:
    """Run one watch for whoever connects to the job's address."""
    server = Server(job.address)
    try:
        from engine.opening import with_demo
        from engine.runner import Runner  # scipy loads here, while the window already connects

        try:
            request = with_demo(job.request, lambda text: server.publish(Progress(text)))
            runner = Runner(request, server.publish)
        except (SourceError, PlanError, OSError) as error:
            server.publish(Failed(str(error)))
            _wait_for_stop(server)
            return
        server.begin(runner.watch)
        threading.Thread(target=_pass_on, args=(server, runner), daemon=True).start()
        runner.run()
    finally:
        server.close()


def _pass_on(server: Server, runner: object) -> None:
    """Hand commands over; stop a watch that nobody looks at any more."""
    commands = runner.commands  # type: ignore[attr-defined]
    while True:
        for command in server.commands():
            commands.put(command)
        if server.alone_s > ALONE_S:
            commands.put(Stop())
            return
        time.sleep(0.01)


def _wait_for_stop(server: Server) -> None:
    while server.alone_s < ALONE_S and not any(isinstance(c, Stop) for c in server.commands()):
        time.sleep(0.05)


def main() -> None:
    """Read the job that the parent wrote, and serve it."""
    job = pickle.load(sys.stdin.buffer)
    assert isinstance(job, Job)
    sys.stdin.close()
    sys.stdin = open(os.devnull)  # noqa: SIM115 - for the life of the process
    serve(job)


if __name__ == "__main__":
    main()
