"""A watch of a live input by an engine process, for tries of one kind each."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil

from engine.model.commands import Open, Stop
from engine.model.messages import Fault
from engine.model.snapshot import Snapshot
from engine.runtime.client import EngineClient
from engine.session import engines
from engine.session.reader import SessionReader
from tests.support.signals import noise
from tests.support.sound_server import DEVICE, SoundServer, sound_server

RATE_HZ = 48_000
PLAN = "".join(f"[[track]]\ninput = {n}\n" for n in range(1, 9))


class LiveWatch:
    """A watch of a live input by an engine process."""

    def __init__(self, request: Open) -> None:
        self.client = EngineClient(request, "terminal")
        self.shot: Snapshot | None = None
        self.until(lambda shot: shot.now_s > 2.0)

    def until(self, fits: Callable[[Snapshot], bool], seconds: float = 30.0) -> float:
        """Wait for a snapshot that fits; returns how long it took, s; raises TimeoutError."""
        begun = time.monotonic()
        while time.monotonic() - begun < seconds:
            self.shot = self.client.latest() or self.shot
            if self.shot is not None and fits(self.shot):
                return time.monotonic() - begun
            time.sleep(0.005)
        raise TimeoutError(self.shot and self.shot.notice)

    def newest(self) -> Snapshot:
        """A snapshot that comes from now on."""
        self.client.latest()
        self.shot = None
        self.until(lambda shot: True)
        assert self.shot is not None
        return self.shot

    def behind_s(self) -> float:
        """How far stream time is behind the clock, up to a constant: the least of a second."""
        end, least = time.monotonic() + 1.0, float("inf")
        while time.monotonic() < end:
            shot = self.newest()
            least = min(least, shot.heard_at - shot.now_s)
        return least

    @property
    def engine(self) -> psutil.Process:
        """The process that watches."""
        running = engines.running_in(self.client.folder)
        assert running is not None
        return psutil.Process(running.pid)

    @property
    def capture(self) -> psutil.Process:
        """The process that records."""
        children = self.engine.children()
        return next(c for c in children if "engine.sources.capture" in c.cmdline())

    def reasons(self) -> list[tuple[float, str]]:
        """Audio lost so far, as the log has it: how long, why."""
        with SessionReader(self.client.folder) as log:
            return [(gap.lost_s, gap.reason) for gap in log.gaps("audio")]

    def close(self) -> None:
        """End it."""
        self.client.send(Stop())
        self.client.close()


def lost(shot: Snapshot) -> bool:
    """The input is lost and not back."""
    faults = [a.incident for a in shot.alarms if a.incident.fault is Fault.INPUT_LOST]
    return any(incident.end_s is None for incident in faults)


@contextmanager
def pulse_watch() -> Iterator[tuple[SoundServer, LiveWatch]]:
    """A watch of eight tracks of a sound server's input."""
    with tempfile.TemporaryDirectory() as home, sound_server(8, RATE_HZ) as server:
        os.environ.update(server.env)
        os.environ["XDG_DATA_HOME"] = home
        (Path(home) / "plan.toml").write_text(PLAN)
        server.play(noise(-40.0, 600.0, RATE_HZ, tracks=8))
        watch = LiveWatch(Open(device=DEVICE, plan=f"{home}/plan.toml"))
        try:
            yield server, watch
        finally:
            watch.close()
