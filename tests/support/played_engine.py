"""An engine that a test plays, for the window's end of the connection."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from engine.model.commands import Open
from engine.runtime.client import EngineClient
from engine.runtime.ipc import forget, new_address
from engine.runtime.server import Server
from engine.runtime.wire import SCHEMA, Job
from engine.session import engines
from engine.session.engines import Running
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
LIVE = fake_client.watch(PLAN)


class PlayedEngine:
    """An engine of a session as windows see it."""

    def __init__(self, folder: Path, request: Open = Open(device="tower")) -> None:  # noqa: B008
        self.folder = folder
        self.heard: list[object] = []
        self.lock = engines.Lock(folder)
        self.address = new_address()
        self.server = Server(self.address, lambda who, said: self.heard.append(said))
        where = (self.address.path, self.address.key.hex())
        engines.say_running(
            folder, Running(*where, 0, request, "tower interface", True, schema=SCHEMA)
        )

    def shows(self, now_s: float) -> None:
        """It watches, and it is so late."""
        self.server.begin(LIVE)
        self.server.publish(fake_client.snapshot(PLAN, now_s=now_s))

    def dies(self) -> None:
        """Without a word."""
        self.server.close()
        forget(self.address)
        self.lock.release()

    def ends(self) -> None:
        """In good order."""
        engines.forget_running(self.folder)
        self.dies()


def _answer(job: Job) -> PlayedEngine:
    return PlayedEngine(Path(job.folder))


class FakeStarter:
    """Notes the engines that were asked for; `answers` plays each one."""

    def __init__(self) -> None:
        self.jobs: list[Job] = []
        self.engines: list[PlayedEngine] = []
        self.answers: Callable[[Job], PlayedEngine | None] = lambda job: PlayedEngine(
            Path(job.folder)
        )
        self.spares = 0

    def start(self, job: Job) -> None:
        """Play the engine of that job."""
        self.jobs.append(job)
        made = self.answers(job)
        if made is not None:
            self.engines.append(made)

    def keep_spare(self) -> None:
        """Count it."""
        self.spares += 1

    @property
    def running(self) -> bool:
        """No process of ours."""
        return False

    def close(self) -> None:
        """Nothing to let go of."""


def until(holds: Callable[[], object]) -> None:
    """Wait for the client's threads, no longer than needed."""
    end = time.monotonic() + 10.0
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.005)


def shown(client: EngineClient) -> Callable[[], bool]:
    """The client has a snapshot."""
    return lambda: client.latest() is not None
