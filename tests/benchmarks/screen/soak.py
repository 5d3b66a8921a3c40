"""Watches a live input for a long time: audio lost, memory, and how late the screen is.

    python -m tests.benchmarks.screen soak [--tracks 64] [--rate 48000] [--minutes 60]
        [--source paced|device|jack] [--no-load] [--flood]

The engine's own process takes the input, the real window draws it (on a virtual display where
there is none), a third process keeps one core busy. `paced`: in PortAudio's place a thread calls
back by the clock and, as a converter does, drops what is not taken in time; any number of tracks.
`device`: PortAudio itself on a user-space sound server, which passes 32 channels at most;
`jack`: on a JACK server. `--flood`: an alarm begins each second.

A sample's latency is the time from its arrival to the end of the painting of the first board that
counts it (the system's compositor comes after that). It arrives when its stream time says, by the
quickest delivery of the last minute; the board counts whole ticks of 100 ms, so the first sample
of a tick waits 100 ms for the last. Memory is what only that process holds (RssAnon); its slope is
a line through all but the first fifth. To reach: nothing lost, under 5 MB an hour, p99 under
250 ms. Exits 1 where one is missed; a slope is only judged after half an hour.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import time
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from engine.session import folders
from engine.session.schema import open_to_read
from tests.benchmarks.screen.inputs import DEVICE, SOURCES, a_desk
from tests.benchmarks.screen.painted import Window, window_on

TICK_S: Final = 0.1
LATENCY_S: Final = 0.25
SLOPE_MB: Final = 5.0
JUDGED_MINUTES: Final = 30.0
LEAST_MINUTES: Final = 0.5
_WARM_UP_S: Final = 10.0
_GAPS: Final = 10
_STEP_S: Final = 0.01
_QUICKEST_S: Final = 60.0


def private_mb(pid: int) -> float:
    """Memory that only this process holds, MB of a million bytes; 0 where it is gone."""
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0.0
    found = re.search(r"RssAnon:\s+(\d+) kB", status)
    return int(found[1]) * 1024 / 1e6 if found else 0.0


def cpu_s(pid: int) -> float:
    """Processor time that this process took so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass
class Memory:
    """Memory of one process by the time."""

    pid: int
    hours: list[float] = field(default_factory=list)
    mb: list[float] = field(default_factory=list)

    def look(self, hours: float) -> None:
        """Note it."""
        self.hours.append(hours)
        self.mb.append(private_mb(self.pid))

    @property
    def slope(self) -> float:
        """MB an hour, a line through all but the first fifth."""
        kept = slice(len(self.mb) // 5, None)
        return float(np.polyfit(self.hours[kept], self.mb[kept], 1)[0])


def latencies(rows: np.ndarray) -> np.ndarray:
    """Seconds from arrival to painted, for a sample each 10 ms of the stream."""
    behind = rows["heard_at"] - rows["now_s"]
    found = []
    ticks = np.floor(rows["now_s"] / TICK_S + 1e-6) * TICK_S
    first = 0
    for n in range(1, len(rows)):
        while rows["heard_at"][n] - rows["heard_at"][first] > _QUICKEST_S:
            first += 1
        quickest = behind[first : n + 1].min()
        fresh = np.arange(ticks[n - 1] + _STEP_S, ticks[n] + _STEP_S / 2, _STEP_S)
        found.append(rows["painted_at"][n] - (fresh + quickest))
    return np.concatenate(found) if found else np.zeros(0)


def lost(folder: Path) -> tuple[list[tuple[float, float]], int]:
    """By the session's log: when how much audio was lost, s, and how often the engine started."""
    with closing(open_to_read(folder / folders.LOG)) as log:
        gaps = log.execute("SELECT at_s, lost_s FROM gap WHERE what = 'audio'").fetchall()
        return gaps, log.execute("SELECT count(*) FROM run").fetchone()[0]


def watch(window: Window, minutes: float) -> list[Memory]:
    """Look at the memory every second, print it every minute."""
    memories = [Memory(window.engine_pid), Memory(window.process.pid)]
    began, told = time.monotonic(), 0
    print("minute  engine MB  window MB")
    while (passed_s := time.monotonic() - began) < 60.0 * minutes:
        if window.process.poll() is not None:
            raise RuntimeError("the window ended by itself")
        for memory in memories:
            memory.look(passed_s / 3600.0)
        if passed_s >= 60.0 * told:
            print(f"{told:6d}  {memories[0].mb[-1]:9.1f}  {memories[1].mb[-1]:9.1f}", flush=True)
            told += 1
        time.sleep(1.0)
    return memories


def judge(window: Window, memories: list[Memory], minutes: float) -> bool:
    """Print the figures; False where a bound is missed."""
    rows = window.rows()
    rows = rows[rows["painted_at"] > rows["painted_at"][0] + _WARM_UP_S]
    late = latencies(rows)
    p50, p99 = np.percentile(late, (50, 99))
    gaps, starts = lost(window.folder)
    lost_s = sum(gap[1] for gap in gaps)
    slopes = [memory.slope for memory in memories]
    behind = rows["heard_at"] - rows["now_s"]
    print(f"audio lost                     {lost_s:.3f} s, {starts} start of the engine")
    for at_s, gap_s in gaps[:_GAPS]:
        print(f"    {gap_s:.3f} s at {at_s:.1f} s")
    print(f"delivery later than quickest   {behind.max() - behind.min():.3f} s at worst")
    print(f"memory, MB an hour             engine {slopes[0]:+.1f}, window {slopes[1]:+.1f}")
    print(
        f"arrival to painted             p50 {p50:.3f} s, p99 {p99:.3f} s, worst {late.max():.3f} s"
    )
    seconds = rows["painted_at"][-1] - rows["painted_at"][0]
    print(f"boards painted                 {len(rows) / seconds:.1f} a second")
    for name, memory in zip(("engine", "window"), memories, strict=True):
        share = cpu_s(memory.pid) / (60.0 * minutes)
        print(f"share of one core              {name} {share:.0%} (with its start)")
    steady = minutes < JUDGED_MINUTES or max(slopes) < SLOPE_MB
    return lost_s == 0.0 and starts == 1 and p99 < LATENCY_S and steady


def main() -> int:
    """Run it and judge."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tracks", type=int, default=64)
    parser.add_argument("--rate", type=int, default=48_000)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--source", choices=SOURCES, default="paced")
    parser.add_argument("--no-load", action="store_true", help="leave the other core alone")
    parser.add_argument("--flood", action="store_true", help="an alarm each second")
    given = parser.parse_args()
    if given.minutes < LEAST_MINUTES:
        parser.error(f"the warm-up does not count: watch for --minutes {LEAST_MINUTES} or more")
    with ExitStack() as stack:
        desk = a_desk(given.source, given.tracks, given.rate, given.flood)
        scratch, plan, env = stack.enter_context(desk)
        if not given.no_load:
            busy = subprocess.Popen([sys.executable, "-c", "while True: pass"])
            stack.callback(busy.wait)
            stack.callback(busy.kill)
        window = stack.enter_context(window_on(DEVICE, plan, scratch, env))
        load = "no other load" if given.no_load else "another process on one core"
        print(f"{given.tracks} tracks at {given.rate} Hz, {given.source}, {load}", flush=True)
        memories = watch(window, given.minutes)
        return 0 if judge(window, memories, given.minutes) else 1
