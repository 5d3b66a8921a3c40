"""The night's benchmark: what really happens beside a recorder, through the program's own scan.

    python -m tests.benchmarks.night.run
    python -m tests.benchmarks.night.run --only stuck,clip --seeds 4 --rate 96000
    python -m tests.benchmarks.night.run --all --seeds 8 --budget 0
    python -m tests.benchmarks.night.run --only none --healthy-minutes 100

A run ends after `--budget` seconds and says what it left out; healthy minutes come after that.

Every model is written from physics and publications, without a look at the detectors; the program
is asked by `python -m app scan FILE --plan P --json` alone. Recordings of voices come from
`python tests/benchmarks/detection/fetch.py`; without them voices are synthetic. Seeds are held
out: state results with them, tune by others (`--first-seed`).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import chain
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile

from tests.benchmarks.night import (
    harmful_classic,
    harmful_link,
    harmful_patch,
    harmless_inputs,
    harmless_place,
    harmless_work,
)
from tests.benchmarks.night.cases import CASES, Case, Span
from tests.benchmarks.night.rig import CHAINS, Chain
from tests.benchmarks.night.scenes import INPUTS, Take, build, plan_text
from tests.benchmarks.night.score import Result, false_alarms, score, table
from tests.benchmarks.night.sounds import Audio
from tests.benchmarks.night.truth import Truth, judge
from tests.benchmarks.night.voices import recordings
from tests.support.checkout import ROOT

FIRST_SEED: Final = 52000
LONGEST_S: Final = 100.0
HEALTHY_S: Final = 200.0
MODELS: Final = (
    harmless_inputs,
    harmless_place,
    harmless_work,
    harmful_link,
    harmful_patch,
    harmful_classic,
)
"""Importing them has filled CASES."""
HEALTHY: Final = replace(CASES["rain"], name="healthy hours", beside=frozenset())
"""What a healthy take is scored as."""
HAPPENS: Final = 0.3
"""How likely each of the three moments of a healthy take holds something harmless: 16 an hour."""


@lru_cache(maxsize=1)
def bed(seed: int) -> Take:
    """The healthy take of a seed, built once; cases work on copies of it."""
    return build(seed, LONGEST_S)


def copy_of(take: Take, seconds: float, at_s: float) -> Take:
    """The first seconds of a take, free to be changed."""
    frames = min(take.frames, round(seconds * take.rate))
    audio, speech, floor = (
        layer[:frames].copy(order="F") for layer in (take.audio, take.speech, take.floor)
    )
    return Take(take.rate, audio, speech, floor, take.stems[:frames], take.sensitivity, at_s)


def chain_for(case: Case, seed: int, wanted: str) -> Chain:
    """The chain after this case: one that it asks for, the wanted one, or the next in turn."""
    names = case.chains or ((wanted,) if wanted != "turn" else tuple(CHAINS))
    return CHAINS[names[(zlib.crc32(case.name.encode()) + seed) % len(names)]]


@dataclass(frozen=True, slots=True, eq=False)
class Rendered:
    """A take as the recorder has it: audio of shape (frames, tracks), and what is true of it."""

    audio: Audio
    rate: int
    rig: Chain
    truth: Truth | None
    happened: tuple[str, ...] = ()


def rendered(case: Case, seed: int, rate: int | None, chain_name: str) -> Rendered:
    """One case with one seed, after its chain."""
    rng = np.random.default_rng([seed, zlib.crc32(case.name.encode())])
    take = copy_of(bed(seed), case.seconds, case.at_s)
    rig = chain_for(case, seed, chain_name)
    truth: Truth | None = None
    if not case.after_rig:
        span = case.model(take, rng)
        judged = list(span.audible or span.tracks)
        healthy = take.speech[:, judged] + take.floor[:, judged]
        truth = _judged(case, take, span, healthy)
    take.audio, take.rate = rig.run(take.audio, take.rate, rng, rate)
    if case.after_rig:
        healthy = take.audio.copy()
        span = case.model(take, rng)
        truth = _judged(case, take, span, healthy[:, list(span.audible or span.tracks)])
    return Rendered(take.audio, take.rate, rig, truth)


def run_case(job: tuple[str, int], rate: int | None, chain_name: str) -> Result:
    """Render, scan and score one case with one seed."""
    case, seed = CASES[job[0]], job[1]
    take = rendered(case, seed, rate, chain_name)
    document = scan(take.audio, take.rate, take.rig.bits)
    result = Result(case.name, seed, take.rig.name, case.harmless)
    return score(case, take.truth, document, result, len(take.audio) / take.rate)


def _judged(case: Case, take: Take, span: Span, healthy: Audio) -> Truth | None:
    if case.harmless:
        return None
    return judge(case, take, span, healthy, take.audio[:, list(span.audible or span.tracks)])


def rendered_healthy(seed: int, rate: int | None, chain_name: str) -> Rendered:
    """A longer take with harmless things now and then: perhaps one from the start, two later."""
    rng = np.random.default_rng([seed, 99])
    base = build(seed, HEALTHY_S)
    take = Take(base.rate, base.audio, base.speech, base.floor, base.stems, base.sensitivity)
    chosen = [case for case in CASES.values() if case.harmless]
    weights = np.array([case.weight for case in chosen])
    names = []
    for at_s in (10.0, 75.0, 135.0):
        early = np.array([case.from_start for case in chosen]) == (at_s == 10.0)
        if rng.random() > HAPPENS:
            continue
        odds = weights * early
        case = chosen[int(rng.choice(len(chosen), p=odds / odds.sum()))]
        take.at_s = case.at_s if case.from_start else at_s
        case.model(take, rng)
        names.append(case.name)
    rig = chain_for(HEALTHY, seed, chain_name)
    audio, file_rate = rig.run(take.audio, take.rate, rng, rate)
    return Rendered(audio, file_rate, rig, None, tuple(names))


def run_healthy(seed: int, rate: int | None, chain_name: str) -> Result:
    """Render, scan and score such a take."""
    take = rendered_healthy(seed, rate, chain_name)
    what = take.rig.name + ": " + ", ".join(take.happened)
    document = scan(take.audio, take.rate, take.rig.bits)
    beside = frozenset({"tone"} if "line_up_tone" in take.happened else ())
    result = Result(HEALTHY.name, seed, what, True)
    return score(replace(HEALTHY, beside=beside), None, document, result, HEALTHY_S)


def scan(audio: Audio, rate: int, bits: int) -> dict[str, Any]:
    """The program's own JSON for a file of that audio, shape (frames, tracks)."""
    with tempfile.TemporaryDirectory(prefix="night-") as folder:
        take, plan = Path(folder, "take.wav"), Path(folder, "plan.toml")
        soundfile.write(take, audio, rate, subtype=f"PCM_{bits}", format="RF64")
        plan.write_text(plan_text(), encoding="utf-8")
        command = [sys.executable, "-m", "app", "scan", str(take), "--plan", str(plan), "--json"]
        process = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if process.returncode not in (0, 1):
        raise RuntimeError(f"scan ended with {process.returncode}: {process.stderr.strip()[-400:]}")
    document: dict[str, Any] = json.loads(process.stdout)
    return document


def select(only: str, every: bool, turn: int) -> list[str]:
    """Cases whose name begins with one of the comma-separated words (`harmless`, `harmful` and
    `none` are words too); with no words all of them, of each family one in turn unless `every`."""
    words = [word for word in only.split(",") if word]
    if words:
        return [name for name, case in CASES.items() if _meant(case, words)]
    families: dict[str, list[str]] = {}
    for name, case in CASES.items():
        families.setdefault(case.family or name, []).append(name)
    return [
        name
        for members in families.values()
        for name in (members if every else [members[turn % len(members)]])
    ]


def _meant(case: Case, words: Sequence[str]) -> bool:
    group = "harmless" if case.harmless else "harmful"
    return any(case.name.startswith(word) or word == group for word in words)


def case_results(arguments: argparse.Namespace) -> Iterator[Result]:
    """Every case's result as it comes, within the budget; a bed is built before its workers are
    forked."""
    until = time.monotonic() + arguments.budget
    for seed in range(arguments.first_seed, arguments.first_seed + arguments.seeds):
        names = select(arguments.only, arguments.all, seed)
        np.random.default_rng(seed).shuffle(names)  # what a short run leaves out is not always last
        if not names:
            return
        bed(seed)
        work = partial(run_case, rate=arguments.rate, chain_name=arguments.chain)
        with multiprocessing.get_context("fork").Pool(arguments.jobs) as pool:
            jobs = [(name, seed) for name in names]
            for number, result in enumerate(pool.imap(work, jobs), 1):
                yield result
                if arguments.budget and time.monotonic() > until:
                    left = ", ".join(names[number:])
                    print(f"\nout of time; left out with seed {seed}, and all after it: {left}")
                    return


def healthy_results(arguments: argparse.Namespace) -> Iterator[Result]:
    """Every healthy take's result as it comes."""
    first = arguments.first_seed + 1000
    takes = round(arguments.healthy_minutes * 60.0 / HEALTHY_S)
    work = partial(run_healthy, rate=arguments.rate, chain_name=arguments.chain)
    bed.cache_clear()
    with multiprocessing.get_context("fork").Pool(arguments.jobs) as pool:
        yield from pool.imap(work, range(first, first + takes))


def parse(argv: Sequence[str] | None) -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--only", default="", help="names or beginnings, by comma; or none")
    parser.add_argument("--all", action="store_true", help="each member of each family")
    parser.add_argument("--rate", type=int, choices=(44100, 48000, 96000), help="of the file")
    parser.add_argument("--chain", default="turn", choices=("turn", *CHAINS))
    parser.add_argument("--healthy-minutes", type=float, default=0.0, help="of 12 tracks each")
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1))
    parser.add_argument("--budget", type=float, default=210.0, help="seconds; 0: no end")
    parser.add_argument("--list", action="store_true", help="print the cases and end")
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Run and print; 0 always: the figures are the result."""
    arguments = parse(argv)
    if arguments.list:
        for case in CASES.values():
            words = " ".join(sorted(case.words)) or "-"
            print(f"{case.name:26} {words:28} amber {case.amber_s:g} s, red {case.red_s}")
        return 0
    started = time.monotonic()
    if not (recordings() / "index.json").exists():
        print("no recordings fetched: synthetic voices", file=sys.stderr)
    results = []
    for result in chain(case_results(arguments), healthy_results(arguments)):
        results.append(result)
        if sys.stderr.isatty():
            print(f"\r{len(results)} takes", end="", file=sys.stderr, flush=True)
    print()
    print(table(results))
    print(false_alarms(results))
    print(f"{len(results)} takes of {len(INPUTS)} tracks in {time.monotonic() - started:.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
