"""The gaps of a track by their levels: how deep they are, and whether they are gaps at all."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.detectors.bursts import Event
from engine.model.flag_arrays import any_of
from engine.model.messages import Levels, Samples
from engine.model.percentiles import median
from engine.model.units import mean_square_at

EDGE: Final = 80
"""Steps before and after a gap in which it falls and rises: 40 ms, as a receiver that ramps a mute
takes at most (common practice, no source)."""

TURNED_DB: Final = 20.0
"""A gain that is turned down takes so much at most (CONTRACT.md)."""
WHITE: Final = 1.2
"""As in `muted`: least energy of the steps from sample to sample, against that of the samples."""


def each_once(gaps: list[Event]) -> list[Event]:
    """In order, the longest of those that overlap: under a lower limit a gap is shorter."""
    kept: list[Event] = []
    for gap in sorted(gaps, key=lambda gap: gap.begin_s - gap.end_s):
        if all(gap.end_s <= one.begin_s or one.end_s <= gap.begin_s for one in kept):
            kept.append(gap)
    return sorted(kept, key=lambda gap: gap.begin_s)


def gap_shape(steps_db: Levels, begin: int, end: int, limit_db: float) -> tuple[float, float, bool]:
    """The level a gap falls from within its edge and rises to again, the lesser; the level inside,
    dB; and whether most of both edges is louder than any gap: else a sound has ended, and not all
    of what came after it was as quiet.

    -inf, 0 and False where the edges are not to be seen.
    """
    before, after = steps_db[max(begin - EDGE, 0) : begin], steps_db[end : end + EDGE]
    if begin < EDGE or len(after) < EDGE or any_of(np.isnan(before)) or any_of(np.isnan(after)):
        return -np.inf, 0.0, False
    back = min(median(before), median(after)) >= limit_db
    inside_db = float(median(steps_db[begin:end]))
    return float(min(before.max(), after.max())), inside_db, bool(back)


def is_turned(powers: Levels, step_powers: Samples, place_dbfs: float) -> bool:
    """Whether those hops are a place through a gain that was turned down, which takes all of it
    alike: a link that gaps leaves white noise, or next to nothing.

    `powers` and `step_powers` are mean squares of the hops and of their steps from sample to
    sample; `place_dbfs` is how faint the place is without.
    """
    power = powers.sum()
    is_left = power >= mean_square_at(place_dbfs - TURNED_DB) * len(powers)
    return bool(is_left and step_powers.sum() < WHITE * power)
