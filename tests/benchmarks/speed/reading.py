"""Speed of reading alone: a 12-track 5-minute 48 kHz 24-bit WAV, beside libsndfile.

Run: python -m tests.benchmarks.speed reading
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from engine.sources.base import EndOfTake
from engine.sources.take import open_take

SECONDS, TRACKS, RATE_HZ = 300, 12, 48_000


def write_take(path: Path) -> None:
    """Noise on every track, the same each time."""
    rng = np.random.default_rng(0)
    with soundfile.SoundFile(path, "w", RATE_HZ, TRACKS, "PCM_24") as file:
        for _ in range(SECONDS):
            file.write(0.1 * rng.standard_normal((RATE_HZ, TRACKS), dtype=np.float32))


def read_ours(path: Path, read_ahead: int) -> None:
    """All blocks through the take source."""
    source = open_take(path, read_ahead=read_ahead)
    try:
        while source.read(10.0) is not None:
            pass
    except EndOfTake:
        source.close()


def read_libsndfile(path: Path) -> None:
    """All samples through libsndfile, turned to rows as the engine needs them."""
    with soundfile.SoundFile(path) as file:
        rows = np.empty((TRACKS, RATE_HZ // 2), dtype=np.float32)
        for block in file.blocks(RATE_HZ // 2, dtype="float32"):
            rows[:, : len(block)] = block.T


def speed(read: Callable[[], None]) -> tuple[float, float]:
    """Times real time by the wall clock and by CPU time, best of three."""
    best_wall_s = best_cpu_s = float("inf")
    for _ in range(3):
        wall_s, cpu_s = time.perf_counter(), time.process_time()
        read()
        best_wall_s = min(best_wall_s, time.perf_counter() - wall_s)
        best_cpu_s = min(best_cpu_s, time.process_time() - cpu_s)
    return SECONDS / best_wall_s, SECONDS / best_cpu_s


def rows() -> list[tuple[str, float, float]]:
    """Name, times real time in wall time, in CPU time."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        write_take(path)
        return [
            ("reading alone", *speed(lambda: read_ours(path, 0))),
            ("reading alone, read ahead", *speed(lambda: read_ours(path, 3))),
            ("libsndfile", *speed(lambda: read_libsndfile(path))),
        ]


def main() -> None:
    """Print a line a reader."""
    for name, wall, cpu in rows():
        print(f"{name:28} {wall:6.0f} x real time, {cpu:6.0f} x in CPU time")
