"""Slow failures of every kind: how long before the alarm their early sign is told.

python -m tests.benchmarks.early_signs [--nights N] [--ends N] [--first SEED] [--anew]
                                       [--model all/outages]

A night is ten minutes of healthy sound (`stage`); in each of its ends sixteen main packs go from
healthy to dead within ten more, two of each kind (`failures`; radio links by their channel,
`fading_links`), while the engine watches. Ends that were watched before are judged from their
figures, unless `--anew`. In `--model outages` eight digital and eight analogue links have outages
and nothing else. Beside each share stand its 95 % interval (E. B. Wilson, JASA 22, 1927, 209-212)
and what an observer who misses nothing could tell (`limits`).
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict

import numpy as np
from scipy import stats

from engine.model.early_signs import SignKind
from tests.benchmarks.early_signs.limits import OBSERVERS, share
from tests.benchmarks.early_signs.stage import HEALTHY_S, OUTAGES, PACKS, PERFORMERS, ROOMS
from tests.benchmarks.early_signs.watched import EARLY_S, Story, figures_of, kept


def main() -> None:
    """Print each failure, then how many were told in time, and false signs by the hour."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--nights", type=int, default=1)
    parser.add_argument("--ends", type=int, default=4)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--anew", action="store_true", help="watch it again")
    parser.add_argument("--model", choices=["all", OUTAGES], default="all")
    asked = parser.parse_args()
    ahead: dict[SignKind, list[float]] = defaultdict(list)
    began, hours, false = time.monotonic(), 0.0, 0
    for seed in range(asked.first, asked.first + asked.nights):
        if asked.anew:
            for end in range(asked.ends):
                figures_of(seed, end, asked.model).unlink(missing_ok=True)
        for end, story in enumerate(kept(seed, asked.ends, asked.model)):
            _failures(f"{seed}.{end}", story, ahead)
            false += _false(story, HEALTHY_S if end else 0.0)
            hours += healthy_track_hours(story, HEALTHY_S if end else 0.0)
    _summary(ahead, asked.model)
    print(f"false signs: {false} in {hours:.1f} healthy track-hours, {false / hours:.2f} an hour")
    print(f"{time.monotonic() - began:.0f} s")


def _summary(ahead: dict[SignKind, list[float]], model: str) -> None:
    for kind, leads in sorted(ahead.items()):
        make = OBSERVERS.get((model, kind))
        most = "" if make is None else f"; whoever sees all: {share(make, 1):.0%}"
        print(f"{kind:12} {_share(leads)}, median {np.median(leads):.0f} s{most}")
    print(f"{'all':12} {_share([s for leads in ahead.values() for s in leads])}")
    able = [s for kind, leads in ahead.items() if (model, kind) not in OBSERVERS for s in leads]
    if able:
        print(f"{'but those':12} {_share(able)}")


def _share(leads: list[float]) -> str:
    early = sum(s >= EARLY_S for s in leads)
    likely = stats.binomtest(early, len(leads)).proportion_ci(method="wilson")
    span = f"{early / len(leads):.0%} ({likely.low:.0%} to {likely.high:.0%})"
    return f"{early:3} of {len(leads):3} a minute ahead, {span}"


def healthy_track_hours(story: Story, begin_s: float) -> float:
    """From that moment on; the ten minutes before are the same in each end of a night."""
    well, failing = PERFORMERS + ROOMS, PACKS - PERFORMERS
    return (well * (story.end_s - begin_s) + failing * (HEALTHY_S - begin_s)) / 3600.0


def _failures(name: str, story: Story, ahead: dict[SignKind, list[float]]) -> None:
    for n, kind in enumerate(story.kinds):
        number = 2 * n + 1
        amber_s, told_s = story.amber_s.get(number, story.end_s), story.told_s(number)
        named = [s for i, k, s in story.signs if i == number and k is kind and s > HEALTHY_S]
        ahead[kind].append(0.0 if told_s is None else amber_s - told_s)
        what = story.fault.get(number, "the end, no alarm yet")
        said = f"its own sign at {min(named) - HEALTHY_S:.0f} s" if named else "no sign of it"
        print(f"{name} {kind}: {ahead[kind][-1]:.0f} s before {what}", end="")
        print(f" at {amber_s - HEALTHY_S:.0f} s, {said}")


def _false(story: Story, begin_s: float) -> int:
    """Print and count the signs of what was healthy, from that moment on."""
    failing = set(range(1, PACKS, 2))
    signs = [s for s in story.signs if s[0] not in failing or s[2] < HEALTHY_S]
    wrong = [s for s in signs if s[2] >= begin_s]
    for n, kind, s in wrong:
        print(f"   false: {kind} on {n} at {s:.0f} s")
    for n, fault, s in story.healthy_alarms:
        if s >= begin_s:
            print(f"   alarm in health: {fault} on {n} at {s:.0f} s")
    return len(wrong)


if __name__ == "__main__":
    main()
