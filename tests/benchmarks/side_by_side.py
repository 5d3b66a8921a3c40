"""Scanning beside other meters on the same take: wall, CPU of the whole process tree, memory.

Run: python -m tests.benchmarks.side_by_side [--tracks 12 64] [--minutes 5] [--only NAME ...]

The take is the demo take's sound, repeated and spread over the tracks. libebur128 runs through
ctypes with one mono state a track (momentary, short-term, integrated, true peak, 100 ms hops),
ffmpeg with ebur128=peak=true on the tracks one by one, pyloudnorm gives the integrated value
only. trackwarden looks for its faults besides. "reading" is reading and decoding alone. Of the runs
in turn each figure is the median; the last column is how many times the CPU of each trackwarden
takes, which the load of the machine moves less than the figures themselves. All run from compiled
Python files, as an installed program does, whatever the environment says of writing them.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from math import nan
from pathlib import Path
from statistics import median
from typing import Final

import numpy as np
import soundfile

from tests.benchmarks.tiled import write_apart

RATE_HZ: Final = 48_000
HOP_FRAMES: Final = RATE_HZ // 10
OURS: Final = "trackwarden"


@dataclass(frozen=True, slots=True)
class Cost:
    """What one contender took."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def read_alone(path: Path) -> None:
    """All blocks of the take, decoded and forgotten."""
    from engine.sources.base import EndOfTake
    from engine.sources.take import open_take

    source = open_take(path, read_ahead=0)
    try:
        while source.read(10.0) is not None:
            pass
    except EndOfTake:
        source.close()


def by_libebur128(path: Path) -> None:
    """Every track through a mono state of its own, in 100 ms hops."""
    from tests.references.ebur128 import Ebur128

    with soundfile.SoundFile(path) as file:
        states = [Ebur128(RATE_HZ) for _ in range(file.channels)]
        for block in file.blocks(HOP_FRAMES, dtype="float32", always_2d=True):
            for state, column in zip(states, np.ascontiguousarray(block.T), strict=True):
                state.add(column)
        for state in states:
            state.reading()
            state.close()


def by_pyloudnorm(path: Path) -> None:
    """The integrated value of every track, one track in memory at a time."""
    import pyloudnorm

    meter = pyloudnorm.Meter(RATE_HZ)
    for track in range(soundfile.info(path).channels):
        with soundfile.SoundFile(path) as file:
            blocks = [b[:, track].copy() for b in file.blocks(RATE_HZ * 10, always_2d=True)]
        meter.integrated_loudness(np.concatenate(blocks))


def by_ffmpeg(path: Path) -> None:
    """ffmpeg's meter on the tracks one by one."""
    for track in range(soundfile.info(path).channels):
        filters = f"pan=mono|c0=c{track},ebur128=peak=true"
        command = ["ffmpeg", "-nostats", "-loglevel", "error", "-i", str(path), "-af", filters]
        subprocess.run([*command, "-f", "null", "-"], check=True, stdin=subprocess.DEVNULL)


INSIDE: Final[dict[str, Callable[[Path], None]]] = {
    "reading": read_alone,
    "libebur128": by_libebur128,
    "pyloudnorm": by_pyloudnorm,
    "ffmpeg": by_ffmpeg,
}


def command_for(name: str, path: Path) -> list[str]:
    """How that contender is started."""
    if name == OURS:
        return [sys.executable, "-m", "app", "scan", "--json", str(path)]
    return [sys.executable, "-m", "tests.benchmarks.side_by_side", "--inside", name, str(path)]


def cost_of(command: list[str], compiled: Path | None = None) -> Cost:
    """Run it to its end and ask the system what it and its children took.

    `compiled` is where its compiled Python files lie, written by the first run.
    """
    environment = dict(os.environ)
    if compiled is not None:
        environment |= {"PYTHONPYCACHEPREFIX": str(compiled), "PYTHONDONTWRITEBYTECODE": ""}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began_s = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    wall_s = time.perf_counter() - began_s
    if process.returncode not in (0, 1):
        raise RuntimeError(f"{' '.join(command)} ended with {process.returncode}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    return Cost(wall_s, cpu_s, usage.ru_maxrss / 1024)


def table(tracks: int, minutes: float, names: list[str], runs: int) -> None:
    """Write the take, run everybody in turn, print a row each: the median of the runs."""
    seconds = minutes * 60
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        # A process inherits the peak of the one that starts it, so the take is written elsewhere.
        write_apart(path, tracks, minutes)
        compiled = Path(folder) / "compiled"
        for name in ("reading", OURS):  # so that no run pays for the disk or for compiling
            cost_of(command_for(name, path), compiled)
        print(f"\n{tracks} tracks, {minutes:g} min, 48 kHz 24-bit, median of {runs}")
        print(f"{'':<14}{'wall s':>9}{'x real time':>13}{'CPU s':>9}{'peak MB':>9}{'ratio':>8}")
        costs: dict[str, list[Cost]] = {name: [] for name in names}
        for _ in range(runs):
            for name in names:  # in turn, so that a busy minute falls on all
                costs[name].append(cost_of(command_for(name, path), compiled))
        ours = median(cost.cpu_s for cost in costs.get(OURS, [])) if OURS in costs else nan
        for name, runs_of in costs.items():
            wall_s = median(cost.wall_s for cost in runs_of)
            cpu_s = median(cost.cpu_s for cost in runs_of)
            peak_mb = max(cost.peak_mb for cost in runs_of)
            print(f"{name:<14}{wall_s:>9.2f}{seconds / wall_s:>13.0f}{cpu_s:>9.2f}", end="")
            print(f"{peak_mb:>9.0f}{ours / cpu_s:>8.2f}")


def main() -> None:
    """Print one table for each number of tracks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tracks", type=int, nargs="+", default=[12, 64])
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--only", nargs="+", default=[OURS, *INSIDE])
    parser.add_argument("--inside", nargs=2, metavar=("NAME", "TAKE"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.inside:
        name, path = given.inside
        INSIDE[name](Path(path))
        return
    for tracks in given.tracks:
        table(tracks, given.minutes, given.only, given.runs)


if __name__ == "__main__":
    main()
