"""A runner on a live input, with a clock that only the input and sleeping move."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from engine.model.client_id import ClientId
from engine.model.commands import Command, Open
from engine.model.messages import Block, Fault
from engine.model.snapshot import Snapshot
from engine.runtime.host import Host
from engine.runtime.runner import Asked, Runner
from engine.session.resume import Resumed
from engine.sources.base import EndOfTake, Source, SourceError, SourceInfo
from tests.support.memory_log import MemoryLog
from tests.support.signals import noise

RATE_HZ = 48_000
BLOCK = 1200
CREW = ClientId("window", "crew", 7)


@dataclass
class Clock:
    """Time that only sources and sleeping move."""

    now: float = 1000.0
    utc_ms: int = 1_700_000_000_000

    def __call__(self) -> float:
        """The time, s."""
        return self.now

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        self.now += seconds


class Live:
    """A live input of two tracks on a fake clock; `mood` says what it does at a time.

    "on": delivers noise; "mute": zeros on track 1; "stall": nothing; "gone": fails.
    """

    def __init__(self, clock: Clock, mood: Callable[[float], str]) -> None:
        self.info = SourceInfo("tower interface", RATE_HZ, 2, ("", ""), live=True)
        self._clock, self._mood = clock, mood
        self._sound = noise(-30.0, 1.0, RATE_HZ, tracks=2)
        self.closed = False

    def read(self, timeout_s: float) -> Block | None:
        """What the mood of the moment gives."""
        mood = self._mood(self._clock.now)
        if mood == "gone":
            raise SourceError("tower interface stopped delivering audio: check its cable")
        self._clock.now += BLOCK / RATE_HZ if mood != "stall" else timeout_s
        if mood == "stall":
            return None
        samples = self._sound[:BLOCK].copy()
        if mood == "mute":
            samples[:, 0] = 0.0
        return Block(samples)

    def close(self) -> None:
        """Remember that it was let go of."""
        self.closed = True


class LiveWatch:
    """A runner on a live input, driven second by second."""

    def __init__(
        self, mood: Callable[[float], str], *, clock: Clock | None = None, **more: Any
    ) -> None:
        self.clock = clock or Clock()
        self.start = self.clock.now
        self.log = MemoryLog()
        self.shots: list[Snapshot] = []
        self.openings: list[str] = []
        self.may_open: Callable[[float], bool] = lambda now: True
        self.mood = mood
        host = Host(
            clock=self.clock,
            sleep=self.clock.sleep,
            utc_ms=lambda: self.clock.utc_ms,
            day_s=lambda: 3600.0,
            boot="one",
            open_source=lambda request: self._open("first"),
            open_again=lambda info: self._open(info.name),
        )
        request = Open(device="tower")
        self.runner = Runner(request, self.shots.append, host, log=self.log, **more)

    def _open(self, how: str) -> Source:
        self.openings.append(how)
        if not self.may_open(self.clock.now):
            raise SourceError("tower interface is gone: check its cable and power")
        return Live(self.clock, self.mood)

    def run(self, seconds: float, *commands: Command) -> Snapshot:
        """Go on for that long; returns the last snapshot."""
        for command in commands:
            self.runner.commands.put(Asked(command, CREW))
        end = self.clock.now + seconds
        while self.clock.now < end and self.runner._obey():
            self.runner._turn()
        return self.runner.snapshot()

    def faults(self, shot: Snapshot) -> set[Fault]:
        """What stands, not what is over."""
        return {a.incident.fault for a in shot.alarms if a.incident.end_s is None}


def on(now: float) -> str:
    """The mood of an input that delivers noise."""
    return "on"


class Take:
    """A take of two tracks, 20 s, that remembers where it was opened."""

    def __init__(self, from_s: float) -> None:
        self.info = SourceInfo("take.wav", RATE_HZ, 2, ("", ""), frames=20 * RATE_HZ)
        self.from_s = from_s
        self._left = round((20.0 - from_s) * RATE_HZ)

    def read(self, timeout_s: float) -> Block:
        """The next block of it."""
        if self._left <= 0:
            raise EndOfTake
        frames = min(BLOCK, self._left)
        self._left -= frames
        return Block(np.full((frames, 2), 0.01, dtype=np.float32))

    def close(self) -> None:
        """Nothing to let go of."""


def replay(
    clock: Clock, request: Open, resumed: Resumed | None = None, log: MemoryLog | None = None
) -> tuple[Runner, Take]:
    """A runner on that take, and the source it opened last."""
    opened: list[Take] = []

    def open_take(wanted: Open) -> Take:
        opened.append(Take(wanted.start_s))
        return opened[-1]

    host = Host(clock=clock, sleep=clock.sleep, boot="one", open_source=open_take)
    runner = Runner(request, lambda shot: None, host, log=log or MemoryLog(), resumed=resumed)
    return runner, opened[-1]
