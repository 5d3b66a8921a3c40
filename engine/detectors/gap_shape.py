"""The gaps of a track by their levels: how deep they are, and whether they are gaps at all."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.detectors.bursts import Event
from engine.model.flag_arrays import any_of
from engine.model.messages import Levels
from engine.model.percentiles import median

EDGE: Final = 80
"""Steps before and after a gap in which it falls and rises: 40 ms, as a receiver that ramps a mute
takes at most (common practice, no source)."""


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
