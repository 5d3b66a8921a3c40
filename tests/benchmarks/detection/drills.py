"""What trackwarden itself finds in drills of the demo take.

    python -m tests.benchmarks.detection drills [SEEDS [LEVEL]]

Faults that deserve an alarm by their truth count; the
rest were too faint or too short. What would have fallen where nobody spoke is not put in.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile

from demo_audio import demo_take
from engine.drill.drill_source import DrillSource
from engine.drill.schedule import schedule
from engine.drill.score import Score, score
from engine.model.messages import Incident, Samples
from engine.pipeline.scan import scan_take
from engine.plan.load import load_plan
from engine.sources.synthetic import ArraySource


def drilled(clean: Samples, rate: int, seed: int, level: str) -> tuple[Score, tuple[Incident, ...]]:
    """The score of a drill that nobody answered, and the alarms behind it."""
    plan = load_plan(demo_take(healthy=True).plan)

    def look(first: int, last: int, places: Sequence[int]) -> Samples:
        return clean[first:last, list(places)]

    planned = schedule(plan.tracks, len(clean) / rate, seed, level)
    source = DrillSource(ArraySource(clean, rate, len(clean)), planned, look, seed)
    block = source.read(0.0)
    assert block is not None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drill.wav"
        soundfile.write(path, block.samples, rate, subtype="PCM_24")
        incidents = scan_take(path, plan).incidents
    truths = source.take_truths()
    return score(plan.tracks, truths, incidents, (), (), len(clean) / rate), incidents


def main() -> None:
    """Print a line a cause, and each fault that was missed or misnamed."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    level = sys.argv[2] if len(sys.argv) > 2 else "real"
    clean, rate = soundfile.read(demo_take(healthy=True).take, dtype="float32", always_2d=True)
    clean = np.asfortranarray(clean)
    put, found, named, false = Counter[str](), Counter[str](), Counter[str](), 0
    for seed in range(seeds):
        made, incidents = drilled(clean, rate, seed, level)
        false += made.false_alarms
        if made.false_alarms:
            alarms = [f"{i.fault} {i.track or i.tracks} {i.onset_s:.1f}" for i in incidents]
            print(f"seed {seed}: a false alarm among {', '.join(alarms)}")
        for one in made.faults:
            cause = one.truth.cause
            put[cause] += 1
            found[cause] += one.found_s is not None
            named[cause] += one.found is cause.fault
            if one.found is not cause.fault:
                print(f"seed {seed}: {cause} on {one.truth.tracks} at {one.truth.onset_s:.1f} s "
                      f"({one.truth.remark}): {one.found}")  # fmt: skip
    print(f"{'cause':<12} {'put in':>6} {'found':>6} {'named':>6}")
    for cause in put:
        print(f"{cause:<12} {put[cause]:>6} {found[cause]:>6} {named[cause]:>6}")
    print(f"false alarms: {false} in {seeds} drills of {len(clean) / rate:.0f} s")
