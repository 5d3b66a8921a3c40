"""Freezes the real window for a minute of wall time and counts what that cost.

    python -m tests.benchmarks.screen frozen [--seconds 60] [--tracks 16]
        [--source paced|device|jack]

The window is stopped (SIGSTOP) while the engine's own process takes a live input in real time,
then goes on (SIGCONT); a second window, that has no picture, hears every alarm change meanwhile.
From the session log: audio lost, seconds of level history that are missing, changes heard that it
does not hold, and that it says when the window went silent and came back. From the window: how
soon it painted again, how soon what was current (its audio no older than 0.5 s), and how many
columns of the two-minute ribbon are empty. Exits 1 where anything was lost.
"""

from __future__ import annotations

import argparse
import signal
import time
from collections import Counter
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from engine.model.commands import Open
from engine.model.snapshot import RIBBON_STEP_S, Snapshot
from engine.model.units import FLOOR_DB
from engine.runtime.client import EngineClient
from engine.session import folders
from engine.session.schema import open_to_read
from tests.benchmarks.screen.inputs import DEVICE, SOURCES, a_desk
from tests.benchmarks.screen.painted import Window, window_on

BEFORE_S: Final = 8.0
AFTER_S: Final = 4.0
CURRENT_S: Final = 0.5


Changes = Counter[tuple[int, str]]
"""Alarm changes: how often each kind for each incident."""


@dataclass(frozen=True)
class Freeze:
    """What the freeze cost; times in seconds."""

    frozen_s: float
    again_s: float
    current_s: float
    empty_columns: int
    heard: Changes


def listen(client: EngineClient, seconds: float) -> tuple[Changes, Snapshot]:
    """Every alarm change of the next seconds, and the last snapshot."""
    heard: Changes = Counter()
    until, newest = time.monotonic() + seconds, None
    while time.monotonic() < until or newest is None:
        shot = client.latest()
        if shot is not None:
            newest = shot
            heard.update((event.alarm.incident.id, event.kind.value) for event in shot.events)
        time.sleep(0.02)
    return heard, newest


def freeze(window: Window, seconds: float) -> Freeze:
    """Stop the window for so long, let it go on, and look at what it paints."""
    other = EngineClient(Open(device=DEVICE), folder=window.folder)
    listen(other, BEFORE_S)
    window.process.send_signal(signal.SIGSTOP)
    stopped_at = time.monotonic()
    heard, _ = listen(other, seconds)
    window.process.send_signal(signal.SIGCONT)
    back_at = time.monotonic()
    _, newest = listen(other, AFTER_S)
    other.close()
    rows = window.rows()
    rows = rows[rows["painted_at"] > back_at]
    current = rows[rows["painted_at"] - rows["heard_at"] < CURRENT_S]
    ribbon = newest.ribbon
    columns = round(min(seconds, RIBBON_STEP_S * len(ribbon.level_dbfs)) / RIBBON_STEP_S)
    empty = (ribbon.level_dbfs[-columns:] <= FLOOR_DB).all(axis=1)
    return Freeze(
        back_at - stopped_at,
        float(rows["painted_at"][0] - back_at),
        float(current["painted_at"][0] - back_at),
        int(np.count_nonzero(empty)),
        heard,
    )


def missing_lines(folder: Path, heard: Changes) -> tuple[float, int, int, bool]:
    """By the log: audio lost in s, seconds and changes that are missing, silence told.

    A second start of the engine counts as all of it lost.
    """
    with closing(open_to_read(folder / folders.LOG)) as log:
        lost_s = log.execute("SELECT total(lost_s) FROM gap").fetchone()[0]
        seconds = [row[0] for row in log.execute("SELECT second FROM level ORDER BY second")]
        written: Changes = Counter(log.execute("SELECT incident, kind FROM change").fetchall())
        starts = log.execute("SELECT count(*) FROM run").fetchone()[0]
        said = " ".join(row[0] for row in log.execute("SELECT arguments FROM action"))
    missing = set(range(seconds[0], seconds[-1] + 1)) - set(seconds)
    unwritten = (heard - written).total() if starts == 1 else heard.total()
    return lost_s, len(missing), unwritten, "silent" in said and "back" in said


def main() -> int:
    """Freeze, print, judge."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--tracks", type=int, default=16)
    parser.add_argument("--source", choices=SOURCES, default="paced")
    given = parser.parse_args()
    with ExitStack() as stack:
        desk = a_desk(given.source, given.tracks, 48_000)
        scratch, plan, env = stack.enter_context(desk)
        window = stack.enter_context(window_on(DEVICE, plan, scratch, env))
        found = freeze(window, given.seconds)
        lost_s, missing, unwritten, told = missing_lines(window.folder, found.heard)
    print(f"window frozen                      {found.frozen_s:.1f} s, {given.tracks} tracks")
    print(f"audio lost                         {lost_s:.3f} s")
    print(f"seconds of level history missing   {missing}")
    print(f"alarm changes meanwhile            {found.heard.total()}, not in the log {unwritten}")
    print(f"log says that the window was away  {'yes' if told else 'no'}")
    print(f"painted again after                {found.again_s:.3f} s")
    print(f"current again after                {found.current_s:.3f} s")
    print(f"empty columns of the ribbon        {found.empty_columns}")
    return int(lost_s > 0.0 or missing + unwritten + found.empty_columns > 0 or not told)
