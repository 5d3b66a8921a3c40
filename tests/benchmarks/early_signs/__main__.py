"""Slow failures of every kind: how long before the alarm their early sign is told.

python -m tests.benchmarks.early_signs [--sessions N] [--first SEED] [--anew] [--model all/links]

A session is ten minutes of healthy sound (`stage`), then ten in which sixteen main packs go from
healthy to dead, two of each kind (`failures`); the whole engine watches. A session that was watched
before is judged from its figures, unless `--anew`. `--model links` has eight digital and eight
analogue radio links instead, each made from its channel (`fading_links`).
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from typing import Final

import numpy as np

from engine.model.early_signs import SignKind
from tests.benchmarks.early_signs.failures import SHOWS
from tests.benchmarks.early_signs.stage import FAILING_S, HEALTHY_S, PACKS, PERFORMERS, ROOMS
from tests.benchmarks.early_signs.watched import MODELS, Story, figures_of, judged, kept

EARLY_S: Final = 60.0


def main() -> None:
    """Print each failure, then how many were told in time, and false signs by the hour."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sessions", type=int, default=3)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--anew", action="store_true", help="watch it again")
    parser.add_argument("--model", choices=list(MODELS), default="all")
    asked = parser.parse_args()
    ahead: dict[SignKind, list[float]] = defaultdict(list)
    false, began = 0, time.monotonic()
    for seed in range(asked.first, asked.first + asked.sessions):
        if asked.anew:
            figures_of(seed, asked.model).unlink(missing_ok=True)
        story = kept(seed, asked.model)
        signs = judged(story)
        _failures(seed, story, signs, ahead)
        false += _false(story, signs)
    hours = asked.sessions * healthy_track_hours()
    for kind, leads in sorted(ahead.items()):
        early = sum(s >= EARLY_S for s in leads)
        lead_s = np.median(leads)
        print(f"{kind:12} {early:3} of {len(leads)} a minute ahead; median {lead_s:.0f} s")
    every = [s for leads in ahead.values() for s in leads]
    print(f"{'all':12} {sum(s >= EARLY_S for s in every):3} of {len(every)}")
    rate = false / hours
    print(f"false signs: {false} in {hours:.1f} healthy track-hours, {rate:.2f} an hour")
    print(f"{time.monotonic() - began:.0f} s")


def healthy_track_hours() -> float:
    """Of one session."""
    well = PERFORMERS + ROOMS
    failing = PACKS - PERFORMERS
    return (well * (HEALTHY_S + FAILING_S) + failing * HEALTHY_S) / 3600.0


def _failures(
    seed: int,
    story: Story,
    signs: list[tuple[int, SignKind, float]],
    ahead: dict[SignKind, list[float]],
) -> None:
    for n, kind in enumerate(story.kinds):
        number = 2 * n + 1
        amber_s = story.amber_s.get(number, float(HEALTHY_S + FAILING_S))
        fits = {kind, *SHOWS[kind]}
        own = [s for i, k, s in signs if i == number and k in fits and HEALTHY_S < s <= amber_s]
        named = [s for i, k, s in signs if i == number and k is kind and s > HEALTHY_S]
        ahead[kind].append(amber_s - min(own) if own else 0.0)
        what = story.fault.get(number, "none, dead")
        said = f"its own sign at {min(named) - HEALTHY_S:.0f} s" if named else "no sign of it"
        print(f"{seed} {kind}: {ahead[kind][-1]:.0f} s before {what}", end="")
        print(f" at {amber_s - HEALTHY_S:.0f} s, {said}")


def _false(story: Story, signs: list[tuple[int, SignKind, float]]) -> int:
    """Print and count the signs of what was healthy."""
    failing = set(range(1, PACKS, 2))
    wrong = [s for s in signs if s[0] not in failing or s[2] < HEALTHY_S]
    for n, kind, s in wrong:
        print(f"   false: {kind} on {n} at {s:.0f} s")
    for n, fault, s in story.healthy_alarms:
        print(f"   alarm in health: {fault} on {n} at {s:.0f} s")
    return len(wrong)


if __name__ == "__main__":
    main()
