"""The only file that joins engine and Qt: a timer looks for snapshots, signals carry them on."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from PySide6.QtCore import QObject, QTimer, Signal, Slot

from engine.model.commands import Command, Open, Stop, Watch
from engine.model.snapshot import Snapshot
from engine.runtime.ipc import carry_events

POLL_MS = 20
"""How long a snapshot may wait to be drawn; looking costs next to nothing where there is none."""
SILENT_AFTER_S = 1.5
"""Without a snapshot for this long the engine counts as not answering."""


class Client(Protocol):
    """The engine as the window sees it. No call may block.

    `watch` and `latest` raise OSError or ValueError, one clear line, when the watch could not be
    opened or has broken off.
    """

    def watch(self) -> Watch | None:
        """What is watched; None while it is still opening."""

    def latest(self) -> Snapshot | None:
        """The newest snapshot not handed out yet; None where there is none."""

    @property
    def progress(self) -> str:
        """What keeps the watch from beginning, one line; empty where there is nothing to say."""

    @property
    def folder(self) -> Path | None:
        """The session's folder, with its log; None where there is none."""

    @property
    def stopped(self) -> str:
        """Why nothing is watched while another engine starts, one line; else empty."""

    def send(self, command: Command) -> None:
        """Pass a command on."""

    def close(self) -> None:
        """Let go of the watch; may be called twice. A live one goes on unless told to stop."""


class Bridge(QObject):
    """One watch at a time, as signals and methods.

    `clock` gives seconds on a steady scale; tests pass their own.
    """

    snapshot = Signal(object)
    opening = Signal(str)
    started = Signal(object)
    plan_changed = Signal(object)
    failed = Signal(str)
    ended = Signal()
    silent = Signal(float)
    stopped = Signal(str)

    def __init__(
        self,
        client_factory: Callable[[Open], Client],
        parent: QObject | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(parent)
        self._factory = client_factory
        self._clock = clock
        self._client: Client | None = None
        self._watch: Watch | None = None
        self._looked_at: Watch | None = None
        self._heard_s = 0.0
        self._told_stopped = self._told_end = False
        self._untold: Snapshot | None = None
        self._timer = QTimer(self, interval=POLL_MS)
        self._timer.timeout.connect(self.poll)

    @property
    def is_opening(self) -> bool:
        """One is wanted and not there yet."""
        return self._client is not None and self._watch is None

    @property
    def running(self) -> bool:
        """A watch is open or opening."""
        return self._client is not None

    @property
    def folder(self) -> Path | None:
        """The folder of the session that is watched; None where there is none."""
        return None if self._client is None else self._client.folder

    @Slot(object)
    def open(self, request: Open) -> None:
        """Start a watch; ends the one before it."""
        self.close()
        try:
            self._client = self._factory(request)
        except (OSError, ValueError) as error:
            self.failed.emit(str(error))
            return
        self._heard_s = self._clock()
        self._timer.start()

    @Slot()
    def poll(self) -> None:
        """Look once for news of the engine."""
        client = self._client
        if client is None:
            return
        try:
            if self._watch is None:
                self._watch = client.watch()
                if self._watch is None:
                    self.opening.emit(client.progress)
                    return
                self._heard_s = self._clock()
                self.started.emit(self._watch)
            newest = client.latest()
            self._look_at_plan(client)
            stopped = client.stopped
        except (OSError, ValueError) as error:
            self.close()
            self.failed.emit(str(error))
            return
        if stopped and not self._told_stopped:
            self.stopped.emit(stopped)
        self._told_stopped = bool(stopped)
        self._pass_on(newest)

    def _look_at_plan(self, client: Client) -> None:
        """The crew, here or in another window, may have changed the plan meanwhile."""
        watch = client.watch()
        if watch is None or watch is self._looked_at:  # comparing whole plans takes its time
            return
        self._looked_at = watch
        if watch != self._watch:
            self._watch = watch
            self.plan_changed.emit(watch)

    def _pass_on(self, newest: Snapshot | None) -> None:
        if newest is None:
            waited = self._clock() - self._heard_s
            if waited >= SILENT_AFTER_S and not self._told_end:
                self.silent.emit(waited)
            return
        self._heard_s = self._clock()
        newest, self._untold = carry_events(self._untold, newest), None
        if self._watch is not None and not _fits(newest, self._watch):
            self._untold = newest  # the plan was changed between the two looks
            return
        self.snapshot.emit(newest)
        if newest.ended and not self._told_end:
            self._told_end = True  # the crew may still see, note and undo: looking goes on
            self.ended.emit()

    def _send(self, command: Command) -> None:
        if self._client is None:
            return
        try:
            self._client.send(command)
        except (OSError, ValueError) as error:
            self.close()
            self.failed.emit(str(error))

    def ask(self, command: Command) -> None:
        """Pass a command on."""
        self._send(command)

    @Slot()
    def stop(self) -> None:
        """End the watch in good order."""
        self._send(Stop())
        self.close()

    def abandon(self) -> None:
        """End a watch that is still opening, without waiting until it has ended."""
        self._timer.stop()
        client, self._client, self._watch = self._client, None, None
        if client is not None:
            with suppress(OSError, ValueError):
                client.send(Stop())
            threading.Thread(target=client.close, name="abandoned watch", daemon=True).start()

    def close(self) -> None:
        """Stop looking and let go of the client."""
        self._timer.stop()
        client, self._client = self._client, None
        self._watch = self._untold = None
        self._told_end = False
        if client is not None:
            client.close()


def _fits(snapshot: Snapshot, watch: Watch) -> bool:
    """It is of the tracks of that plan."""
    return snapshot.inputs in ((), tuple(track.input for track in watch.plan.tracks))
