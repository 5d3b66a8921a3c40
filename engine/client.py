"""A window's end of the channel: starts an engine process, hears from it, never waits for it."""

from __future__ import annotations

import contextlib
import pickle
import subprocess
import sys
import threading
import time
from multiprocessing.connection import Client as Connect
from multiprocessing.connection import Connection
from typing import Final

from engine.channel import Failed, Job, Progress, new_address
from engine.commands import Command, Open, Stop, Watch
from engine.model import Snapshot

CONNECT_S: Final = 15.0
"""A slow machine may take this long to bring an engine up."""

CLOSE_S: Final = 2.0


class EngineFailedError(OSError):
    """The watch could not be opened, or its process is gone; one clear line."""


class EngineClient:
    """One engine process and the newest word from it. No call blocks."""

    def __init__(self, request: Open) -> None:
        self._address = new_address()
        self._process = subprocess.Popen(
            [sys.executable, "-m", "engine.process"], stdin=subprocess.PIPE
        )
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            pickle.dump(Job(self._address, request), self._process.stdin)
            self._process.stdin.close()
        self._lock = threading.Lock()
        self._connection: Connection | None = None
        self._watch: Watch | None = None
        self._latest: Snapshot | None = None
        self._failure = ""
        self._progress = ""
        self._waiting: list[Command] = []
        self._closed = False
        threading.Thread(target=self._listen, name="engine listener", daemon=True).start()

    def watch(self) -> Watch | None:
        """What is watched; None while it is still opening."""
        self._check()
        return self._watch

    def latest(self) -> Snapshot | None:
        """The newest snapshot not handed out yet; None where there is none."""
        self._check()
        with self._lock:
            latest, self._latest = self._latest, None
        return latest

    @property
    def progress(self) -> str:
        """What keeps the watch from beginning, one line."""
        return self._progress

    def send(self, command: Command) -> None:
        """Pass a command on; kept until the engine can take it."""
        with self._lock:
            self._waiting.append(command)
            connection = self._connection
        if connection is not None:
            self._flush(connection)

    def close(self) -> None:
        """End the watch and let go of everything; may be called twice."""
        if self._closed:
            return
        self._closed = True
        self.send(Stop())
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(CLOSE_S)
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        if self._connection is not None:
            self._connection.close()

    def _check(self) -> None:
        if self._failure:
            raise EngineFailedError(self._failure)

    def _listen(self) -> None:
        try:
            connection = self._connect()
            with self._lock:
                self._connection = connection
            self._flush(connection)
            while True:
                watch, state = connection.recv()
                self._hear(watch, state)
        except (EOFError, OSError):
            if not self._closed and not self._failure:
                self._failure = "watch stopped: its process has ended; start the watch again"

    def _connect(self) -> Connection:
        tried_until = time.monotonic() + CONNECT_S
        family = "AF_PIPE" if sys.platform == "win32" else "AF_UNIX"
        while True:
            try:
                return Connect(self._address.path, family=family, authkey=self._address.key)
            except OSError:
                if self._process.poll() is not None or time.monotonic() > tried_until:
                    raise
                time.sleep(0.02)

    def _hear(self, watch: Watch | None, state: Failed | Progress | Snapshot) -> None:
        if isinstance(state, Failed):
            self._failure = state.reason
        elif isinstance(state, Progress):
            self._progress = state.text
        else:
            with self._lock:
                self._watch, self._latest = watch, state

    def _flush(self, connection: Connection) -> None:
        with self._lock:
            waiting, self._waiting = self._waiting, []
        for command in waiting:
            with contextlib.suppress(OSError):
                connection.send(command)
