"""Hops that are as bright as hash, and how bright a track usually is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np

from engine.measure.tick_block import TickBlock
from engine.model.messages import Flags, Levels
from engine.model.units import IDLE_MEAN_SQUARE, mean_square_at, rms_dbfs

OPEN_DBFS: Final = -36.0
"""Without a carrier the noise fills the deviation: it is as loud as words."""
OPEN_BRIGHTNESS: Final = 0.2
"""Such hash has 0.37 after 50 us, 0.27 after 75 us (calculated), single hops less."""


class BrightHops(NamedTuple):
    """What a tick holds, before what was usual is asked.

    bright : (hops, tracks) hops that may be hash, to be written to; some : there are any
    hops_db : (hops, tracks) level of the treble, NaN where it is not valid
    middle_db : (tracks,) the median of that; NaN in gaps
    """

    bright: Flags
    some: bool
    hops_db: Levels
    middle_db: Levels


def bright_hops(block: TickBlock, watched: Flags, brightness: float) -> Iterator[BrightHops]:
    """Those of each tick; the threshold is that of `NoiseBurst`."""
    energy, power = block.field("difference_energy"), block.field("mean_square")
    valid = block.field("valid")
    least = np.where(power >= mean_square_at(OPEN_DBFS), OPEN_BRIGHTNESS, brightness)
    bright = (energy >= least * power) & valid & watched
    some = bright.any(axis=(1, 2)).tolist()
    hops_db = np.where(valid, rms_dbfs(energy), np.nan)
    # The mean of the two middle hops, in decibels: their median.
    middle = energy.shape[1] // 2
    sorted_db = rms_dbfs(np.sort(energy, axis=1)[:, middle - 1 : middle + 1])
    middle_db = sorted_db.sum(axis=1) / 2.0
    for tick, m in enumerate(block.ticks):
        if not m.all_valid:
            middle_db[tick, ~m.valid.all(axis=0)] = np.nan
    # What lies under that is a gap, not what the track is usually like.
    middle_db[power.min(axis=1) < IDLE_MEAN_SQUARE] = np.nan
    parts = zip(bright, some, hops_db, middle_db, strict=True)
    return (BrightHops(*part) for part in parts)
