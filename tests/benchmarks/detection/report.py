"""The benchmark's table, its list of false alarms and what was found by strength."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from tests.benchmarks.detection.truths import SOFT_KNEE
from tests.support.scoring import (
    Line,
    Outcome,
    SceneScore,
    false_per_hour,
    found_by_strength,
    table,
)

SURE: Final = ("muted", "silent", "dead_mic", "clipped", "dropout")
TO_REACH: Final = {"named": 0.90, "kept": 0.99, "sure": 0.99, "rest": 0.95}
FALSE_TO_REACH: Final = {"red": 0.1, "amber": 1.0}
EDGES: Final = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
"""One bin for each strength planted."""


def print_table(scores: Sequence[SceneScore]) -> list[str]:
    """One row a fault; what falls short is marked and returned."""
    head = ("found", "named", "beside"), ("amber s", "worst", "kept", "red s", "worst", "kept")
    print(f"{'fault':20}{'events':>7}" + "".join(f"{h:>8}" for h in head[0])
          + "".join(f"{h:>9}" for h in (*head[1], "onset s", "worst")))  # fmt: skip
    missed = []
    for line in table(scores):
        short = _short(line)
        missed += [f"{line.label}: {what}" for what in short]
        shares = (line.found, line.named, line.beside)
        times = (
            _number(line.amber_median_s), _number(line.amber_worst_s), _percent(line.amber_kept),
            _number(line.red_median_s), _number(line.red_worst_s), _percent(line.red_kept),
            _number(line.onset_error_median_s), _number(line.onset_error_worst_s),
        )  # fmt: skip
        cells = f"{line.label:20}{line.events:7d}" + "".join(f"{_percent(s):>8}" for s in shares)
        cells += "".join(f"{t:>9}" for t in times)
        print(cells + ("  short of: " + ", ".join(short) if short else ""))
    kept = [
        flag
        for score in scores
        for outcome in score.outcomes
        if outcome.truth.label != SOFT_KNEE
        for flag in _kept(outcome)
    ]
    if kept:
        share = sum(kept) / len(kept)
        print(f"deadlines kept, all faults: {_percent(share)} of {len(kept)}")
    for severity, most in FALSE_TO_REACH.items():
        rate = false_per_hour(scores, severity)
        bad = rate > most
        missed += [f"false {severity}"] if bad else []
        print(
            f"false {severity} per healthy track-hour: {_number(rate)} (at most {most})"
            + ("  short" if bad else "")
        )
    hours = sum(score.healthy_s for score in scores) / 3600.0
    print(f"healthy track-hours: {hours:.1f}")
    return missed


def print_false(scores: Sequence[SceneScore], most: int = 12) -> None:
    """Which false alarms there were, by fault and severity, and some of them in full."""
    false = [alarm for score in scores for alarm in score.false]
    if not false:
        return
    kinds = Counter((alarm.fault, alarm.severity) for alarm in false)
    print("\nfalse alarms: " + ", ".join(f"{n} {f} {s}" for (f, s), n in kinds.most_common()))
    for alarm in false[:most]:
        print(f"  track {alarm.tracks} {alarm.fault} {alarm.severity} at {alarm.onset_s:.2f} s: "
              f"{alarm.detail}")  # fmt: skip


def print_by_strength(scores: Sequence[SceneScore]) -> None:
    """The share found and rightly named at each strength planted, one row a fault."""
    outcomes = [outcome for score in scores for outcome in score.outcomes]
    middles = [(low + high) / 2.0 for low, high in pairwise(EDGES)]
    print(f"\n{'found by strength':20}" + "".join(f"{middle:>9.1f}" for middle in middles))
    for label in sorted({outcome.truth.label for outcome in outcomes}):
        own = [o for o in outcomes if o.truth.label == label]
        points = found_by_strength(own, EDGES)
        print(f"{label:20}" + "".join(f"{_percent(y) if n else '-':>9}" for _, y, n in points))


def _short(line: Line) -> list[str]:
    if line.label == SOFT_KNEE:  # without flat tops amber is allowed, not asked for
        return []
    sure = TO_REACH["sure" if line.label in SURE else "rest"]
    short = ["found"] if line.found < sure else []
    short += ["named"] if line.named < TO_REACH["named"] else []
    short += ["amber"] if line.amber_kept < TO_REACH["kept"] else []
    short += ["red"] if line.red_kept < TO_REACH["kept"] else []
    return short


def _kept(outcome: Outcome) -> list[bool]:
    """Whether amber came in time, and red where it was due."""
    red = [outcome.red_kept] if outcome.truth.red_within_s is not None else []
    return [outcome.amber_kept, *red]


def _percent(share: float) -> str:
    return "-" if math.isnan(share) else f"{100 * share:.1f}%"


def _number(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.2f}"
