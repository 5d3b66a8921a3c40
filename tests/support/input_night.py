"""A watch on a fake clock: a computer that stands still or sleeps, an interface that raises."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from engine.model.commands import Open
from engine.model.messages import Block, Samples
from engine.runtime.host import Host
from engine.runtime.runner import Runner
from engine.sources.base import SourceError, SourceInfo
from tests.support.memory_log import MemoryLog
from tests.support.signals import noise

RATE_HZ = 8_000
BLOCK_S = 0.02
BLOCK = round(BLOCK_S * RATE_HZ)


@dataclass
class Machine:
    """A computer and an interface on it; `hold_s` is what its drivers keep of a standstill."""

    now: float = 1000.0
    slept_s: float = 0.0
    hold_s: float = 0.2
    due: float = 1000.0
    waiting: deque[float] = field(default_factory=deque)
    raises: list[Exception] = field(default_factory=list)
    there: bool = True
    flagged: int = 0
    piece: Samples | None = None
    openings: int = 0

    def clock(self) -> float:
        """Steady; does not count sleep."""
        return self.now

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        self.now += seconds
        self._record()

    def _record(self) -> None:
        while self.due <= self.now:
            self.waiting.append(self.due)
            self.due += BLOCK_S

    def stand_still(self, seconds: float, flagged_s: float = 0.0) -> None:
        """Stopped or swapping: of what came the drivers keep the newest.

        `flagged_s` is what they say was lost, right or wrong.
        """
        self.now += seconds
        self._record()
        while len(self.waiting) > max(round(self.hold_s / BLOCK_S), 1):
            self.waiting.popleft()
        self.flagged = round(flagged_s * RATE_HZ)

    def suspend(self, seconds: float) -> None:
        """The lid is closed for so long."""
        self.slept_s += seconds

    def open(self, *_: object) -> Interface:
        """The interface, where it is there."""
        self.openings += 1
        if not self.there:
            raise SourceError("tower interface is gone")
        self.waiting.clear()
        self.due = self.now + BLOCK_S
        return Interface(self)

    @property
    def host(self) -> Host:
        """What a runner needs of it."""
        return Host(
            clock=self.clock,
            sleep=self.sleep,
            utc_ms=lambda: 0,
            day_s=lambda: 3600.0,
            suspended_s=lambda: self.slept_s,
            open_source=self.open,
            open_again=self.open,
        )


class Interface:
    """Two tracks of noise."""

    def __init__(self, machine: Machine) -> None:
        self.info = SourceInfo("tower interface", RATE_HZ, 2, ("", ""), live=True)
        self._machine = machine
        self._sound = noise(-30.0, 1.0, RATE_HZ, tracks=2)[:BLOCK]

    def read(self, timeout_s: float) -> Block | None:
        """The next block, waited for."""
        machine = self._machine
        if machine.raises:
            raise machine.raises.pop(0)
        if not machine.there:
            raise SourceError("tower interface stopped delivering")
        if machine.piece is not None:
            piece, machine.piece = machine.piece, None
            return Block(piece)
        if not machine.waiting:
            machine.sleep(min(timeout_s, BLOCK_S))
        if not machine.waiting:
            return None
        machine.waiting.popleft()
        lost, machine.flagged = machine.flagged, 0
        return Block(self._sound.copy(), lost, len(machine.waiting) * BLOCK)

    def close(self) -> None:
        """Nothing to let go of."""


class Night:
    """A watch on that machine."""

    def __init__(self) -> None:
        self.machine, self.log = Machine(), MemoryLog()
        self.start = self.machine.now
        request = Open(device="tower")
        self.runner = Runner(request, lambda _: None, self.machine.host, log=self.log)

    def run(self, seconds: float) -> None:
        """Go on for so long."""
        end = self.machine.now + seconds
        while self.machine.now < end:
            assert self.runner._obey()
            self.runner._turn()

    @property
    def behind_s(self) -> float:
        """How far stream time is behind the clock, sleep counted."""
        machine = self.machine
        return machine.now + machine.slept_s - self.start - self.runner.snapshot().now_s

    @property
    def lost(self) -> dict[str, float]:
        """Audio lost in the log, by its reason, s."""
        found: dict[str, float] = {}
        for values in self.log.of("gap"):
            if values[0] == "audio":
                found[values[7]] = found.get(values[7], 0.0) + values[5]
        return found
