"""How well faults are found: seeded scenes through the program's scan, one table, also by strength.

    python -m tests.benchmarks.detection run --set tuning --seeds 24
    python -m tests.benchmarks.detection run --set heldout --seeds 64 --minutes 2.5
    python -m tests.benchmarks.detection run --seeds 8 --faults muted,dropout --dump .artefacts/dump

Fetch the recordings first (fetch.py). Exit 0 when every figure to reach was reached, 1 when not.
"""

from __future__ import annotations

import argparse
import json
import math
import time
import tomllib
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from engine.model.messages import Samples
from engine.model.tracks import Plan
from engine.pipeline.scan import scan_source
from engine.pipeline.scan_document import document
from engine.sources.synthetic import ArraySource
from tests.benchmarks.detection import report, witness
from tests.benchmarks.detection.library import RATE, load
from tests.benchmarks.detection.planting import Planter, cards_for
from tests.benchmarks.detection.scenes import build
from tests.support.scoring import SceneScore, Truth, score_scene

Scan = Callable[[Samples, Plan], Sequence[dict[str, Any]]]


@dataclass(frozen=True, slots=True)
class SceneRun:
    """What one seed came to, and what it cost."""

    seed: int
    score: SceneScore
    seconds: float
    build_s: float
    scan_s: float
    left_over: int
    testimonies: list[witness.Testimony]


def scan(samples: Samples, plan: Plan) -> list[dict[str, Any]]:
    """The incidents of `scan --json` for those samples."""
    incidents: list[dict[str, Any]] = document(scan_source(ArraySource(samples, RATE), plan))[
        "incidents"
    ]
    return incidents


def run(
    seeds: Sequence[int],
    which: str,
    seconds: float,
    faults: frozenset[str] = frozenset(),
    dump: Path | None = None,
    scan: Scan = scan,
    processes: int = 2,
) -> list[SceneRun]:
    """Every seed's scene, scanned and scored; `scan` may be replaced by another ear."""
    job = partial(run_scene, which=which, seconds=seconds, faults=faults, dump=dump, scan=scan)
    if processes == 1:
        return [job(seed) for seed in seeds]
    with ProcessPoolExecutor(processes) as pool:
        return list(pool.map(job, seeds))


def run_scene(
    seed: int, which: str, seconds: float, faults: frozenset[str], dump: Path | None, scan: Scan
) -> SceneRun:
    """Build, plant, scan and score the scene of one seed."""
    started = time.perf_counter()
    cards = cards_for(seed, faults)
    unused = any(card.what == "unexpected" for card in cards) or seed % 2 == 1
    stage = build(load(which), seed, seconds, unused)
    planter = Planter(stage, np.random.default_rng((seed, 1)))
    planter.plant_all(cards)
    built = time.perf_counter()
    incidents = scan(stage.samples, stage.plan)
    done = time.perf_counter()
    numbers = [track.input for track in stage.plan.tracks]
    score = score_scene(incidents, planter.truths, numbers, seconds)
    if dump is not None:
        _dump(dump, seed, stage.samples, planter.truths, incidents)
    heard = witness.listen(score.outcomes, stage.samples, RATE, numbers)
    costs = (seconds, built - started, done - built)
    return SceneRun(seed, score, *costs, len(planter.left_over), heard)


def _dump(
    folder: Path, seed: int, samples: Samples, truths: list[Truth], incidents: Sequence[Any]
) -> None:
    """The scene as a WAV and what was planted and said as JSON beside it, for debugging."""
    folder.mkdir(parents=True, exist_ok=True)
    soundfile.write(folder / f"scene-{seed}.wav", samples, RATE, subtype="PCM_24")
    told = {"truths": [asdict(t) for t in truths], "incidents": list(incidents)}
    (folder / f"scene-{seed}.json").write_text(json.dumps(told, indent=1), encoding="utf-8")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--set", choices=("tuning", "heldout"), default="tuning", dest="which")
    parser.add_argument("--seeds", type=int, default=16, help="number of scenes")
    parser.add_argument("--first", type=int, default=0, help="first seed, within the set")
    parser.add_argument("--minutes", type=float, default=2.5, help="length of a scene")
    parser.add_argument("--faults", default="", help="only these, with commas between")
    parser.add_argument("--dump", type=Path, help="write each scene and its truth there")
    parser.add_argument("--processes", type=int, default=2)
    return parser.parse_args()


def main() -> int:
    """Run and print the tables; 0 when every figure to reach was reached."""
    given = _arguments()
    table = tomllib.loads((Path(__file__).parent / "sources.toml").read_text(encoding="utf-8"))
    lowest, highest = table["seeds"][given.which]
    seeds = range(lowest + given.first, lowest + given.first + given.seeds)
    if seeds[-1] > highest:
        raise SystemExit(f"the {given.which} set has the seeds {lowest} to {highest}")
    faults = frozenset(filter(None, given.faults.split(",")))
    started = time.perf_counter()
    runs = run(
        seeds, given.which, 60.0 * given.minutes, faults, given.dump, processes=given.processes
    )
    scores = [r.score for r in runs]
    missed = report.print_table(scores)
    report.print_false(scores)
    witness.print_table([t for r in runs for t in r.testimonies])
    report.print_by_strength(scores)
    audio_h = sum(r.seconds for r in runs) / 3600.0
    print(
        f"\n{len(runs)} scenes, {audio_h:.2f} h of 12 tracks, set {given.which}; "
        f"{math.fsum(r.build_s for r in runs):.0f} s to build, "
        f"{math.fsum(r.scan_s for r in runs):.0f} s to scan, "
        f"{time.perf_counter() - started:.0f} s in all; "
        f"{sum(r.left_over for r in runs)} faults found no room"
    )
    return 1 if missed else 0
