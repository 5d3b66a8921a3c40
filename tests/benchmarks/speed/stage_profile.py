"""Where the time of a watch goes: each stage and each detector, at 12 and at 64 tracks.

    python -m tests.benchmarks.speed profile [--tracks 12 64] [--seconds 120] [--scan]

The demo take's sound, repeated and spread over the tracks, goes through one process: tick by tick
as live, or with `--scan` as many at once as a scan takes. CPU is that of the process (user and
system), with what a stage calls taken off, in milliseconds a tick of 100 ms; "calls" are calls into
numpy a tick, counted in a second run: functions and methods, not the operators between arrays,
which the interpreter does not tell of. "share" is of all. The take
begins in health, and where faults stand a tick costs up to twice as much: a run of some seconds
tells of calm ticks alone.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from operator import attrgetter
from pathlib import Path
from types import FrameType
from typing import Any, Final

import numpy as np

from engine.detectors.registry import FORESIGHTED
from engine.measure import meter as meter_module
from engine.model.track_remap import By
from engine.pipeline.measure_ahead import in_parts, ticks_at_once
from engine.pipeline.pipeline import Pipeline
from engine.plan.load import load_plan
from engine.sources.base import EndOfTake
from engine.sources.take import open_take
from tests.benchmarks.tiled import DEMO_HZ, plan_text, write_take

FUNCTIONS: Final = ("measure_hops",)
"""What the meter calls that remembers nothing."""
PARTS: Final = {
    "_framer": ("feed",),
    "meter": ("measure",),
    "judge": ("step",),
    "judge.bank": ("ask",),
    "judge.book": ("step", "severities"),
    "judge._cause_alarms": ("step",),
    "judge.lines": ("update",),
    "level_strip": ("add",),
    "peaks": ("update",),
    "outlook": ("update",),
    "_marks": ("update",),
}
"""Stages by the attribute of the pipeline, and what is called of each."""


class StageClock:
    """CPU time and numpy calls of nested stages, each without what it calls."""

    def __init__(self, *, counts: bool) -> None:
        self.cpu_s: dict[str, float] = defaultdict(float)
        self.calls: dict[str, int] = defaultdict(int)
        self._counts, self._since_s = counts, time.process_time()
        self._stages = ["pipeline, the rest"]

    def wrap(self, owner: Any, name: str, stage: str) -> None:
        """Let that method or function of `owner` be counted as a stage."""
        work: Callable[..., Any] | None = getattr(owner, name, None)
        if work is None:  # a part that is fed by another name
            return

        def counted(*arguments: Any, **named: Any) -> Any:
            self._enter(stage)
            try:
                return work(*arguments, **named)
            finally:
                self._leave()

        setattr(owner, name, counted)

    def _enter(self, stage: str) -> None:
        self._take()
        self._stages.append(stage)

    def _leave(self) -> None:
        self._take()
        self._stages.pop()

    def _take(self) -> None:
        now_s = time.process_time()
        self.cpu_s[self._stages[-1]] += now_s - self._since_s
        self._since_s = now_s

    def run(self, work: Callable[[], None]) -> None:
        """Do that work, and count what it does."""
        self._since_s = time.process_time()
        if self._counts:
            sys.setprofile(self._note_call)
        try:
            work()
        finally:
            sys.setprofile(None)
        self._take()

    def _note_call(self, frame: FrameType, event: str, function: Any) -> None:
        del frame
        if event != "c_call":
            return
        owner = getattr(function, "__self__", None)
        module = getattr(function, "__module__", None) or ""
        if isinstance(owner, np.ndarray | np.ufunc) or module.startswith("numpy"):
            self.calls[self._stages[-1]] += 1


def profile(take: Path, plan: Path, *, counts: bool, scan: bool) -> tuple[StageClock, int]:
    """One run over that take; the clock, and the number of ticks."""
    tracks = load_plan(plan)
    at_once = ticks_at_once(len(tracks.tracks)) if scan else 1
    source = open_take(take, read_ahead=0, block_s=0.1 * at_once)
    pipeline, clock = Pipeline(tracks, DEMO_HZ, board=not scan), StageClock(counts=counts)
    clock.wrap(source, "read", "reading")
    for path, names in PARTS.items():
        for name in names:
            clock.wrap(attrgetter(path)(pipeline), name, path.rpartition(".")[2].strip("_"))
    meter = pipeline.meter
    for attribute, item in type(meter)._REMEMBERED.items():
        if item.by is By.PART:
            for name in ("update", "push", "latest"):
                clock.wrap(getattr(meter, attribute), name, f"meter: {attribute.strip('_')}")
    for rule, detector in pipeline.judge.bank._detectors.items():
        clock.wrap(detector, "update", f"detector: {rule}")
        if rule in FORESIGHTED:
            clock.wrap(detector, "look_ahead", f"detector: {rule}")
    plain = {name: getattr(meter_module, name) for name in FUNCTIONS}
    for name in FUNCTIONS:
        clock.wrap(meter_module, name, f"meter: {name}")

    def work() -> None:
        try:
            while True:
                block = source.read(1.0)
                if block is not None and scan:
                    for ticks in in_parts(
                        tuple(pipeline._framer.feed(block.samples, at_once)), at_once
                    ):
                        pipeline.look_ahead(ticks)
                        for tick in ticks:
                            pipeline.take_in(tick)
                elif block is not None:
                    pipeline.feed(block)
        except EndOfTake:
            source.close()

    try:
        clock.run(work)
    finally:
        for name, function in plain.items():
            setattr(meter_module, name, function)
    return clock, round(pipeline.now_s / pipeline.tick_s)


def table(tracks: int, seconds: float, *, scan: bool) -> None:
    """Print one row a stage, the dearest first."""
    with tempfile.TemporaryDirectory(prefix="profile") as folder:
        take, plan = Path(folder) / "take.wav", Path(folder) / "plan.toml"
        write_take(take, tracks, seconds / 60.0)
        plan.write_text(plan_text(tracks), encoding="utf-8")
        timed, ticks = profile(take, plan, counts=False, scan=scan)
        counted, _ = profile(take, plan, counts=True, scan=scan)
    whole_s = sum(timed.cpu_s.values())
    print(f"\n{tracks} tracks, {ticks} ticks: {1e3 * whole_s / ticks:.3f} ms CPU a tick, ", end="")
    print(f"{sum(counted.calls.values()) / ticks:.0f} calls into numpy a tick")
    print(f"{'stage':<28}{'ms a tick':>10}{'share':>8}{'calls':>8}")
    for stage, cpu_s in sorted(timed.cpu_s.items(), key=lambda item: -item[1]):
        calls = counted.calls[stage] / ticks
        print(f"{stage:<28}{1e3 * cpu_s / ticks:>10.3f}{cpu_s / whole_s:>8.1%}{calls:>8.1f}")


def main() -> None:
    """Print a table for each number of tracks."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tracks", type=int, nargs="+", default=[12, 64])
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--scan", action="store_true", help="as a scan: several ticks at once")
    given = parser.parse_args()
    for tracks in given.tracks:
        table(tracks, given.seconds, scan=given.scan)
