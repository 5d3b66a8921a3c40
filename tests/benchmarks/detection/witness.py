"""A second witness for onsets: the short-term to long-term average ratio of seismology.

It knows nothing of microphones, so where it agrees with the watch on when a level fell or rose,
neither has it from the other. A fall is looked for in the inverse of the energy.

Source: STA/LTA trigger, A. Trnkoczy, GFZ NMSOP-2 IS 8.1 (1999, amended 2011); ratio on 4 (a
typical value by seismographs' manuals), windows shortened to 50 ms and 1 s because sound falls
faster than the ground.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.model.messages import Samples
from tests.support.scoring import Outcome, Truth

HOP_S: Final = 0.01
STA_HOPS: Final = 5
LTA_HOPS: Final = 100
TRIGGER: Final = 4.0
SEARCH_S: Final = 1.5
FALLS: Final = ("muted", "dead_mic", "dropout", "silent")
RISES: Final = ("noise_burst",)


@dataclass(frozen=True, slots=True)
class Testimony:
    """Onset errors against the truth, s: the witness's and the watch's own; NaN where silent."""

    label: str
    witness_s: float
    watch_s: float


def hear(samples: Samples, rate_hz: int, truth: Truth, place: int) -> float:
    """When the trigger went on near the true onset, less that onset; NaN where it did not."""
    hop = round(HOP_S * rate_hz)
    first = max(0, round((truth.onset_s - SEARCH_S) / HOP_S) - LTA_HOPS)
    last = round((truth.onset_s + SEARCH_S) / HOP_S)
    track = samples[first * hop : last * hop, place].astype(np.float64)
    track = track[: len(track) // hop * hop]
    energy = np.square(track.reshape(-1, hop)).mean(axis=1) + 1e-12
    series = 1.0 / energy if truth.label in FALLS else energy
    sums = np.concatenate([[0.0], np.cumsum(series)])
    now = np.arange(LTA_HOPS + STA_HOPS, len(series) + 1)
    sta = (sums[now] - sums[now - STA_HOPS]) / STA_HOPS
    lta = (sums[now - STA_HOPS] - sums[now - STA_HOPS - LTA_HOPS]) / LTA_HOPS
    on = np.flatnonzero(sta / lta >= TRIGGER)
    if not len(on):
        return math.nan
    at_s = (first + now[on] - STA_HOPS) * HOP_S - truth.onset_s
    return float(at_s[np.argmin(np.abs(at_s))])


def listen(
    outcomes: Sequence[Outcome], samples: Samples, rate_hz: int, inputs: Sequence[int]
) -> list[Testimony]:
    """What the witness says of every found onset it can know anything about."""
    heard = []
    for outcome in outcomes:
        truth = outcome.truth
        if outcome.found and truth.label in FALLS + RISES and truth.onset_s > 2.0:
            place = inputs.index(truth.tracks[0])
            error_s = hear(samples, rate_hz, truth, place)
            heard.append(Testimony(truth.label, error_s, outcome.onset_error_s))
    return heard


def print_table(testimonies: Sequence[Testimony]) -> None:
    """One row a fault: how far witness, watch and truth lie apart, medians in seconds."""
    print(f"\n{'onset witness':20}{'events':>7}{'heard':>7}{'witness':>9}{'watch':>9}{'apart':>9}")
    for label in sorted({t.label for t in testimonies}):
        own = [t for t in testimonies if t.label == label]
        both = [t for t in own if not math.isnan(t.witness_s)]
        if not both:
            print(f"{label:20}{len(own):7d}{0:7d}")
            continue
        witness = np.array([t.witness_s for t in both])
        watch = np.array([t.watch_s for t in both])
        cells = (np.abs(witness), np.abs(watch), np.abs(witness - watch))
        medians = "".join(f"{np.median(c):9.3f}" for c in cells)
        print(f"{label:20}{len(own):7d}{len(both):7d}{medians}")
