"""Tries thousands of bad takes and plans on the program's real ways in.

    python -m tests.benchmarks.robustness mutations [--takes 20000] [--plans 20000] [--seed 1]
        [--workers 1] [--case take 4711]

Each case is a whole file (WAV, RF64, BW64, FLAC, a folder of mono files, a plan) spoiled in up to
eight places, most of them in its header; then `scan`, `plan new`, `plan check`, a replay with its
log and a report run on it. A finding is a traceback or a word of Python's, an end of the process,
5 s without an end (twice, the second time alone), more than 500 MB, anything written, opened or
started outside the case's folder (told by Python's audit events and by looking at a scratch home
and working folder), a control character on the terminal, JSON that is none. What was found stays
in .artefacts/fuzzing, and `--case` tries that case again in this process. Exits 1 with findings.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, Final

from tests.benchmarks.robustness.cases import chance_of, plan_case, take_case

HANGS_S: Final = 5.0
MOST_MB: Final = 500.0
KEEP: Final = Path(".artefacts/fuzzing")
_SHOWN: Final = 20
_TOLD_EVERY: Final = 2_000


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one case; `finding` is empty where all held."""

    word: str
    finding: str
    cpu_s: float
    peak_mb: float


def make_case(kind: str, seed: int, number: int, folder: Path) -> tuple[Path, ...]:
    """Write that case's files into an empty folder; what is to be tried comes first."""
    chance = chance_of(seed, number)
    return (take_case(chance, folder),) if kind == "take" else plan_case(chance, folder)


def try_case(kind: str, files: tuple[Path, ...], number: int, folder: Path) -> str:
    """Try these files; what came of it in one word."""
    from tests.benchmarks.robustness.entries import try_plan, try_take

    try_it = try_take if kind == "take" else try_plan
    return try_it(*files, folder, number)


def work(orders: Connection, seed: int, root: Path) -> None:
    """A worker's life: a scratch home, then case after case."""
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "TMPDIR"):
        place = root / name.lower()
        place.mkdir(parents=True)
        os.environ[name] = str(place)
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    case, elsewhere = root / "case", root / "cwd"
    elsewhere.mkdir()
    os.chdir(elsewhere)
    sys.dont_write_bytecode = True
    from tests.benchmarks.robustness import guard

    watch = guard.Guard()
    for kind in ("take", "plan"):  # so that what is imported late is there
        for number in range(-40, 0):
            try_or_tell(kind, made(kind, 0, number, case), number, case)
    shutil.rmtree(case)
    before = guard.tree(root)
    while True:
        kind, number = orders.recv()
        files = made(kind, seed, number, case)
        guard.forget_peak()
        began_s = time.process_time()
        with watch.watching(case):
            word, finding = try_or_tell(kind, files, number, case)
        cpu_s, peak_mb = time.process_time() - began_s, guard.peak_mb()
        stray = [path for path in guard.tree(root) - before if not path.startswith(str(case))]
        if watch.seen or stray:
            finding = finding or f"outside its folder: {watch.seen} {stray}"
        if peak_mb > MOST_MB:
            finding = finding or f"{peak_mb:.0f} MB"
        orders.send(Outcome(word, finding, cpu_s, peak_mb))


def _in_empty(folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()


def made(kind: str, seed: int, number: int, folder: Path) -> tuple[Path, ...]:
    """The same in that folder, emptied before."""
    _in_empty(folder)
    return make_case(kind, seed, number, folder)


def try_or_tell(kind: str, files: tuple[Path, ...], number: int, folder: Path) -> tuple[str, str]:
    """One word, and the traceback where there was one; a warning is one too."""
    try:
        with warnings.catch_warnings(action="error"):
            return try_case(kind, files, number, folder), ""
    except BaseException:
        return "broke", traceback.format_exc()


@dataclass
class Worker:
    """A process that tries cases, and what it is at."""

    seed: int
    root: Path
    process: Any = None
    orders: Any = None
    case: tuple[str, int] | None = None
    since_s: float = 0.0
    ready: bool = False

    def start(self) -> None:
        """Begin anew, in an empty place."""
        shutil.rmtree(self.root, ignore_errors=True)
        context = multiprocessing.get_context("spawn")
        self.orders, there = context.Pipe()
        self.process = context.Process(target=work, args=(there, self.seed, self.root), daemon=True)
        self.process.start()
        there.close()
        self.ready = False

    def give(self, case: tuple[str, int]) -> None:
        """Have it try that case."""
        self.case, self.since_s = case, time.monotonic()
        self.orders.send(case)

    def outcome(self) -> Outcome | None:
        """What came of its case, None while it is at it; a worker that broke is started anew."""
        try:
            if self.orders.poll():
                self.ready = True
                result: Outcome = self.orders.recv()
                return result
        except (EOFError, OSError):
            self.process.join()
            return self._again(f"the process ended with {self.process.exitcode}")
        # The first case waits for the imports.
        if time.monotonic() - self.since_s > HANGS_S + (0.0 if self.ready else 60.0):
            return self._again("hangs")
        return None

    def _again(self, finding: str) -> Outcome:
        self.process.kill()
        self.process.join()
        self.start()
        return Outcome("broke", finding, HANGS_S, 0.0)

    def stop(self) -> None:
        """End it."""
        if self.process is not None:
            self.process.kill()
            self.process.join()


@dataclass
class Tally:
    """What came of all cases of one kind."""

    words: Counter[str] = field(default_factory=Counter)
    findings: dict[int, str] = field(default_factory=dict)
    cpu_s: float = 0.0
    slowest: tuple[float, int] = (0.0, -1)
    largest: tuple[float, int] = (0.0, -1)

    def add(self, number: int, outcome: Outcome) -> None:
        """Count one."""
        self.words[outcome.word] += 1
        self.cpu_s += outcome.cpu_s
        self.slowest = max(self.slowest, (outcome.cpu_s, number))
        self.largest = max(self.largest, (outcome.peak_mb, number))
        if outcome.finding:
            self.findings[number] = outcome.finding


def try_all(kind: str, count: int, seed: int, workers: list[Worker]) -> Tally:
    """Every case of that kind, spread over the workers."""
    tally, cases, hung = Tally(), iter(range(count)), []
    busy = [worker for worker in workers if _next(worker, kind, cases)]
    while busy:
        wait([worker.orders for worker in busy], timeout=0.5)
        for worker in list(busy):
            outcome = worker.outcome()
            if outcome is None:
                continue
            assert worker.case is not None
            number = worker.case[1]
            if number % _TOLD_EVERY == 0 and number:
                print(f"{kind}s: {number} tried", file=sys.stderr, flush=True)
            if outcome.finding == "hangs":
                hung.append(number)
            else:
                tally.add(number, outcome)
            if outcome.finding:
                print(f"{kind} {number}: {outcome.finding.strip().splitlines()[-1]}", flush=True)
            if not _next(worker, kind, cases):
                busy.remove(worker)
    for number in hung:  # again and alone: another program may have held it up
        workers[0].give((kind, number))
        while (outcome := workers[0].outcome()) is None:
            wait([workers[0].orders], timeout=0.5)
        tally.add(number, outcome)
    return tally


def _next(worker: Worker, kind: str, cases: Iterator[int]) -> bool:
    number = next(cases, None)
    if number is not None:
        worker.give((kind, number))
    return number is not None


def keep(kind: str, seed: int, number: int, finding: str) -> None:
    """Leave the case's files and what was found where they can be looked at."""
    folder = KEEP / f"{kind}-{seed}-{number}"
    folder.parent.mkdir(parents=True, exist_ok=True)
    made(kind, seed, number, folder)
    (folder / "finding.txt").write_text(finding, "utf-8", "backslashreplace")


def print_table(tallies: dict[str, Tally]) -> None:
    """A row for takes and one for plans, then what was found."""
    print("| | cases | read | refused | findings | slowest, CPU s | peak MB | CPU s in all |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for kind, tally in tallies.items():
        words, slow, large = tally.words, tally.slowest, tally.largest
        print(
            f"| {kind}s | {words.total()} | {words['read']} | {words['refused']} "
            f"| {len(tally.findings)} | {slow[0]:.2f} (case {slow[1]}) "
            f"| {large[0]:.0f} (case {large[1]}) | {tally.cpu_s:.0f} |"
        )
    for kind, tally in tallies.items():
        last_lines = {n: f.strip().splitlines()[-1] for n, f in tally.findings.items()}
        for line, times in Counter(last_lines.values()).most_common(_SHOWN):
            first = next(n for n, other in last_lines.items() if other == line)
            print(f"{times:5} x {kind} {first}: {line}")


def main() -> int:
    """Try everything, print a table, or try one case."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--takes", type=int, default=20_000)
    parser.add_argument("--plans", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--case", nargs=2, metavar=("KIND", "NUMBER"))
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="fuzzing") as scratch:
        if given.case:
            kind, number = given.case[0], int(given.case[1])
            files = make_case(kind, given.seed, number, Path(scratch))
            with warnings.catch_warnings(action="error"):
                print(try_case(kind, files, number, Path(scratch)))
            return 0
        workers = [Worker(given.seed, Path(scratch) / str(n)) for n in range(given.workers)]
        tallies: dict[str, Tally] = {}
        try:
            for worker in workers:
                worker.start()
            for kind, count in (("take", given.takes), ("plan", given.plans)):
                tallies[kind] = try_all(kind, count, given.seed, workers)
        finally:
            for worker in workers:
                worker.stop()
    print_table(tallies)
    for kind, tally in tallies.items():
        for number, finding in tally.findings.items():
            keep(kind, given.seed, number, finding)
    return int(any(tally.findings for tally in tallies.values()))
