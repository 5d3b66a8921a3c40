"""Memory of the engine with an alarm each second, hours of it in minutes.

    python -m tests.benchmarks.survival memory [--tracks 32] [--hours 2] [--rate 16000] [--trace]

The runner, its pipeline, what it sends to windows and the real log, on a clock that only the input
moves: a live input of noise on which each second another track is muted for 0.9 s. Prints what the
process holds (RssAnon) every ten minutes of the watch and, as MB an hour, a line through all after
the first half hour. `--trace` lists by line of code what grew after that (tracemalloc); it takes
twice as long, and its own memory is in the figures. The window's memory: `screen soak --flood`.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import tracemalloc
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from engine.model.commands import Open
from engine.model.messages import Block
from engine.model.snapshot import Snapshot
from engine.runtime.host import Host
from engine.runtime.runner import Runner
from engine.runtime.wire import Message, pack
from engine.session.writer import SessionWriter
from engine.sources.base import SourceInfo
from tests.benchmarks.screen.soak import Memory

BLOCK_S: Final = 0.05
MUTED_S: Final = 0.9
SETTLED_S: Final = 1800.0
PRINT_S: Final = 600.0
LOOK_S: Final = 10.0
_SOUND_S: Final = 7.0


@dataclass
class Clock:
    """Time that only the input moves."""

    now: float = 1000.0

    def __call__(self) -> float:
        """Seconds."""
        return self.now

    def sleep(self, seconds: float) -> None:
        """Let it pass."""
        self.now += seconds


class FloodedInput:
    """Noise, and each second another track is muted."""

    def __init__(self, tracks: int, rate_hz: int, clock: Clock) -> None:
        self.info = SourceInfo("interface", rate_hz, tracks, ("",) * tracks, live=True)
        self._clock, self._start = clock, clock.now
        rng = np.random.default_rng(3)
        shape = (round(_SOUND_S * rate_hz), tracks)
        self._sound = (0.03 * rng.standard_normal(shape)).astype(np.float32)
        self._at = 0

    def read(self, timeout_s: float) -> Block:
        """What is due next; the clock is then there."""
        frames = round(BLOCK_S * self.info.sample_rate_hz)
        if self._at + frames > len(self._sound):
            self._at = 0
        block = self._sound[self._at : self._at + frames].copy()
        self._at += frames
        second, inside_s = divmod(self._clock.now - self._start, 1.0)
        if inside_s < MUTED_S:
            block[:, int(second) % self.info.channels] = 0.0
        self._clock.sleep(BLOCK_S)
        return Block(block)

    def close(self) -> None:
        """Nothing to let go of."""


def run(tracks: int, hours: float, rate_hz: int, folder: Path, trace: bool) -> None:
    """Watch for so long."""
    clock, sent = Clock(), [0, 0]

    def publish(shot: Snapshot) -> None:
        sent[0] += len(pack(Message(None, shot)))
        sent[1] += len(shot.events)

    def source(*_asked: object) -> FloodedInput:
        return FloodedInput(tracks, rate_hz, clock)

    host = Host(
        clock=clock,
        sleep=clock.sleep,
        utc_ms=lambda: round(1000 * clock.now),
        suspended_s=lambda: 0.0,
        open_source=source,
        open_again=source,
    )
    log = SessionWriter(folder / "session.sqlite")
    runner = Runner(Open(device="interface"), publish, host, log=log)
    memory, start, look_at, print_at = Memory(os.getpid()), clock.now, 0.0, 0.0
    settled = None
    while (passed_s := clock.now - start) < 3600.0 * hours:
        runner._obey()
        runner._turn()
        if passed_s >= look_at:
            look_at += LOOK_S
            if passed_s >= SETTLED_S:
                memory.look(passed_s / 3600.0)
                if trace and settled is None:
                    settled = tracemalloc.take_snapshot()
        if passed_s >= print_at:
            print_at += PRINT_S
            now = Memory(os.getpid())
            now.look(0.0)
            print(f"{passed_s / 60:5.0f} min  {now.mb[0]:7.1f} MB  {sent[1]} events", flush=True)
    if settled is not None:
        for one in tracemalloc.take_snapshot().compare_to(settled, "lineno")[:15]:
            print(one)
    slope = float(np.polyfit(memory.hours, memory.mb, 1)[0])
    print(f"{tracks} tracks, {hours:g} h, {sent[1]} events: {slope:+.2f} MB an hour once settled")
    log.close()


def main() -> None:
    """Run it as asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tracks", type=int, default=32)
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--rate", type=int, default=16_000)
    parser.add_argument("--trace", action="store_true")
    asked = parser.parse_args()
    if asked.hours <= SETTLED_S / 3600.0:
        parser.error("the first half hour does not count: ask for more")
    if asked.trace:
        tracemalloc.start(5)
    with tempfile.TemporaryDirectory() as folder:
        run(asked.tracks, asked.hours, asked.rate, Path(folder), asked.trace)
