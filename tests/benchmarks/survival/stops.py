"""Processes of many live watches are stopped (SIGSTOP); stream time is then held against the clock.

    python -m tests.benchmarks.survival stops [--tries 200] [--watches 8] [--longest 60] [--seed 5]

Each watch has an input of four tracks, a stand-in for PortAudio that goes by the clock and drops
what is not taken in time; every second one does not say so. What is stopped for 0.3 s to `longest`:
the engine, its recording process, both, or all (engine, recording, keeper and window), as in a
computer that swaps. An engine that hangs for 5 s is replaced by its window, which counts as well.
Prints each try: what was lost by the watch's own word, and by how much stream time is then off
from where it was before, against the steady clock. On a busy machine the look itself is late now
and then; so each try is judged by where stream time is as the next one begins. The bound is 0.1 s.
"""

from __future__ import annotations

import argparse
import os
import queue
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterable
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import psutil

from engine.model.commands import Open, Stop
from engine.runtime.client import EngineClient
from engine.session import engines
from engine.session.reader import SessionReader
from tests.support.checkout import ROOT

RATE_HZ: Final = 48_000
TRACKS: Final = 4
BOUND_S: Final = 0.1
SETTLE_S: Final = 5.0
KINDS: Final = ("engine", "recording", "both", "all")
_STANDIN: Final = Path(__file__).parents[1] / "screen" / "standin"
_UP_S: Final = 60.0
_LOOK_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class Try:
    """One stop: what was stopped for how long, what was told, how far off stream time is."""

    watch: int
    what: str
    length_s: float
    told_s: float
    off_s: float
    before_s: float


class Watched:
    """One watch, followed by a window in a process of its own."""

    def __init__(self, number: int) -> None:
        self.number = number
        command = [
            sys.executable,
            "-m",
            "tests.benchmarks.survival.stops",
            "--window",
            f"interface {number:02}",
        ]
        self.window = subprocess.Popen(
            command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self.window.stdout is not None
        self.folder = Path(self.window.stdout.readline().strip())
        self._lines: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.window.stdout is not None
        for line in self.window.stdout:
            self._lines.put(line)

    def look(self) -> tuple[float, float]:
        """How far stream time is behind the clock, up to a constant, and all lost audio, s."""
        while not self._lines.empty():
            self._lines.get()
        end, least, lost_s = time.monotonic() + _LOOK_S, float("inf"), 0.0
        while time.monotonic() < end or least == float("inf"):
            now_s, heard_at, lost_s = map(float, self._lines.get(timeout=_UP_S).split())
            least = min(least, heard_at - now_s)
        return least, lost_s

    def processes(self, what: str) -> list[psutil.Process]:
        """Those to stop."""
        end = time.monotonic() + _UP_S
        while (running := engines.running_in(self.folder)) is None:
            if time.monotonic() > end:
                raise RuntimeError(f"{self.folder.name} has no engine")
            time.sleep(0.05)
        engine = psutil.Process(running.pid)
        recording = [c for c in engine.children() if "engine.sources.capture" in c.cmdline()]
        keepers = [c for c in engine.children() if "engine.runtime.keeper" in c.cmdline()]
        return {
            "engine": [engine],
            "recording": recording,
            "both": [engine, *recording],
            "all": [psutil.Process(self.window.pid), *keepers, engine, *recording],
        }[what]

    def reasons(self) -> set[str]:
        """Why audio was lost, by the log."""
        with SessionReader(self.folder) as log:
            return {gap.reason for gap in log.gaps("audio")}

    def close(self) -> None:
        """End the watch."""
        assert self.window.stdin is not None
        with suppress(OSError):
            self.window.stdin.close()
        try:
            self.window.wait(20.0)
        except subprocess.TimeoutExpired:
            self.window.kill()


def try_once(watch: Watched, what: str, length_s: float) -> Try:
    """Stop and let go."""
    before_s, lost_s = watch.look()
    processes = watch.processes(what)
    for process in processes:
        process.suspend()
    time.sleep(length_s)
    for process in reversed(processes):
        with suppress(psutil.NoSuchProcess):  # its window has begun another one
            process.resume()
    time.sleep(SETTLE_S)
    after_s, told_s = watch.look()
    return Try(watch.number, what, length_s, told_s - lost_s, after_s - before_s, before_s)


def follow(name: str) -> None:
    """Be a window: print where stream time is, until the input closes."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    client = EngineClient(Open(device=name))
    print(client.folder, flush=True)
    try:
        while not _over.is_set():
            shot = client.latest()
            if shot is not None:
                print(shot.now_s, shot.heard_at, shot.audio_lost_s, flush=True)
            time.sleep(0.02)
    finally:
        client.send(Stop())
        client.close()


_over = threading.Event()


def _end_with_parent() -> None:
    sys.stdin.read()
    _over.set()


def work(
    watch: Watched, tries: Iterable[tuple[str, float]], done: list[Try], last: dict[int, float]
) -> None:
    """All tries of one watch; `last` is where its stream time is after them."""
    watch.look()
    time.sleep(SETTLE_S)
    for what, length_s in tries:
        one = try_once(watch, what, length_s)
        done.append(one)
        print(
            f"{len(done):3} watch {one.watch:02} {one.what:<9} stopped {one.length_s:5.2f} s, "
            f"told {one.told_s:6.2f} s lost, off by {one.off_s:+.3f} s",
            flush=True,
        )
    last[watch.number] = watch.look()[0]


def stops(tries: int, watches: int, longest_s: float, seed: int) -> int:
    """Run them all at once; 1 where one is off by more than the bound."""
    rng, done = random.Random(seed), list[Try]()
    last: dict[int, float] = {}
    plans: list[list[tuple[str, float]]] = [[] for _ in range(watches)]
    for number in range(tries):
        plans[number % watches].append((rng.choice(KINDS), rng.uniform(0.3, longest_s)))
    with ExitStack() as stack:
        home = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="stops")))
        sound = np.random.default_rng(seed).normal(0.0, 300.0, (10 * RATE_HZ, TRACKS))
        (home / "take.raw").write_bytes(sound.astype("<i2").tobytes())
        os.environ |= {
            "XDG_DATA_HOME": str(home / "data"),
            "STANDIN_TAKE": str(home / "take.raw"),
            "STANDIN_CHANNELS": str(TRACKS),
            "STANDIN_RATE": str(RATE_HZ),
            "STANDIN_INPUTS": str(watches),
            "PYTHONPATH": os.pathsep.join([str(_STANDIN), str(ROOT)]),
        }
        running = []
        for number in range(1, watches + 1):
            running.append(Watched(number))
            stack.callback(running[-1].close)
        threads = [
            threading.Thread(target=work, args=(watch, plan, done, last))
            for watch, plan in zip(running, plans, strict=True)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        reasons = set[str]().union(*(watch.reasons() for watch in running))
    return judge(done, last, reasons, tries)


def judge(done: list[Try], last: dict[int, float], reasons: set[str], tries: int) -> int:
    """Print the figures."""
    errors: list[tuple[str, float]] = []
    for number, end_s in last.items():
        of = [one for one in done if one.watch == number]
        following = [*(one.before_s for one in of[1:]), end_s]
        errors += [(a.what, abs(b - a.before_s)) for a, b in zip(of, following, strict=True)]
    for what in KINDS:
        off = [error_s for kind, error_s in errors if kind == what]
        if off:
            print(
                f"{what:<9} {len(off):3} stops, off by: median {statistics.median(off):.3f} s, "
                f"worst {max(off):.3f} s"
            )
    wrong = sum(error_s > BOUND_S for _, error_s in errors)
    print(f"{len(errors)} of {tries} tries, {wrong} off by more than {BOUND_S} s")
    print("named:", *sorted(reasons), sep="\n  ")
    return int(wrong > 0 or len(errors) < tries)


def main() -> int:
    """Run the tries that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tries", type=int, default=200)
    parser.add_argument("--watches", type=int, default=8)
    parser.add_argument("--longest", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--window", default="", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.window:
        follow(asked.window)
        return 0
    return stops(asked.tries, asked.watches, asked.longest, asked.seed)


if __name__ == "__main__":
    raise SystemExit(main())
