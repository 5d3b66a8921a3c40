"""Kills a writer of the session log at random moments and reads back what it left.

    python -m tests.benchmarks.robustness log-kills [--kills 200] [--seed 1]

One log is written through all kills. The writer says through a pipe, before each line, which one
it hands over; the pipe outlives it. After each kill (SIGKILL, nothing can be caught) the log must
be whole (SQLite's own integrity and foreign-key checks) and hold every line that was handed over
more than a second before. A kill takes the program; a power cut also takes what the system had
not put on the disk yet, against which each commit is synced (PRAGMA synchronous = FULL);
a test of kills can't prove that.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import struct
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from engine.session.schema import check_whole, open_to_read
from engine.session.second_levels import pack_levels
from engine.session.writer import LogLine, SessionWriter, Stamp

LINE_S = 0.02
TRACKS = 64
_TOLD = struct.Struct("<qd")


@dataclass(frozen=True)
class Kill:
    """What one kill cost: lines lost, and how old the oldest of them was, s."""

    handed: int
    lost: int
    oldest_lost_s: float


def write_until_killed(path: Path, first: int, pipe: int) -> None:
    """Hand over a numbered line every 20 ms: level history, an incident, its change, an action."""
    log = SessionWriter(path)
    levels = pack_levels(*np.full((3, TRACKS), -30.0))
    number = first
    while True:
        os.write(pipe, _TOLD.pack(number, time.monotonic()))
        stamp = Stamp(number * LINE_S, number, time.time_ns() // 1_000_000, "")
        fault = (number, 1, "[]", "muted", "amber", 0.0, 0.5, None, None, None, False, "", None)
        incident = (*fault, "", "")
        change = (number, "raised", "unacknowledged", "amber", "muted", *stamp.values, None)
        action = ("Acknowledge", "{}", "crew", "window", 1, *stamp.values)
        lines = [LogLine("level", (number, stamp.utc_ms, levels)), LogLine("incident", incident)]
        lines += [LogLine("change", change), LogLine("action", action)]
        log.write(lines, stamp, now=number % 7 == 0)
        number += 1
        time.sleep(LINE_S)


def kill_once(path: Path, first: int, after_s: float) -> Kill:
    """Let a writer write for that long, kill it, read back.

    Raises
    ------
    AssertionError
        Where the log is damaged or has lost a line that was older than a second.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            write_until_killed(path, first, writing)
        finally:
            os._exit(1)
    os.close(writing)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    killed_at = time.monotonic()
    os.waitpid(child, 0)
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read()
    handed = [_TOLD.unpack_from(told, at) for at in range(0, len(told) - _TOLD.size + 1, 16)]
    return _compare(path, handed, killed_at)


def _compare(path: Path, handed: list[tuple[int, float]], killed_at: float) -> Kill:
    there: set[int] = set()
    if path.exists() and path.stat().st_size:
        check_whole(path)
        with closing(open_to_read(path)) as log:
            there = {row[0] for row in log.execute("SELECT second FROM level")}
            for table in ("incident", "change", "action"):
                count = log.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
                assert count == len(there), f"{table} holds {count} lines, level {len(there)}"
    lost = [killed_at - at for number, at in handed if number not in there]
    assert not lost or max(lost) <= 1.0, f"a line {max(lost):.2f} s old was lost"
    return Kill(len(handed), len(lost), max(lost, default=0.0))


def kill_often(path: Path, kills: int, seed: int) -> list[Kill]:
    """That many kills at random moments on one log."""
    moments = random.Random(seed)
    first, found = 1, []
    for _ in range(kills):
        found.append(kill_once(path, first, moments.uniform(0.01, 1.5)))
        first += found[-1].handed
    return found


def main() -> None:
    """Print what the kills cost."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found = kill_often(Path(folder) / "session.sqlite", arguments.kills, arguments.seed)
    oldest = np.array([kill.oldest_lost_s for kill in found])
    print("| kills | lines handed over | lost | oldest line lost, median | worst | damaged |")
    print("| --- | --- | --- | --- | --- | --- |")
    print(
        f"| {len(found)} | {4 * sum(k.handed for k in found)} | {4 * sum(k.lost for k in found)} "
        f"| {np.median(oldest):.3f} s | {oldest.max():.3f} s | 0 |"
    )
