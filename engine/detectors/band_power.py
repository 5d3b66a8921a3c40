"""The energy of each hop in the band in which a dead mic is told from a quiet place."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import count_of
from engine.model.messages import Flags, Levels, Samples
from engine.model.units import IDLE_MEAN_SQUARE

MOSTLY: Final = 0.7
"""So many of the hops that count are most of them."""
_FROZEN_MEAN_SQUARE: Final = 1e-13
"""Of the steps of the slow sound: under it is a frozen value, however high, and no noise."""


class BandPower(NamedTuple):
    """What was made of one tick before it is asked of.

    power : (hops, tracks) mean square in the band
    mostly : (tracks,) what is no louder has no most of the hops under it
    counted : (tracks,) hops that count
    known, heard : (tracks,) something counts; some sound does
    wide_mean, band_mean : (tracks,) mean squares of the tick, NaN where nothing is heard
    last : (tracks,) the last sample of the decimated sound
    """

    power: Levels
    counted: NDArray[np.int64]
    known: Flags
    heard: Flags
    wide_mean: Levels
    band_mean: Levels
    mostly: Levels
    last: Samples


def band_powers(block: TickBlock, last: Samples) -> Iterator[BandPower]:
    """Levels of each tick, and the energy of the steps of the decimated sound.

    `last` is the sample of each track before it, shape (tracks,).
    """
    slow = block.field("decimated")
    step = np.empty_like(slow)
    np.subtract(slow[:, :, 1:], slow[:, :, :-1], out=step[:, :, 1:])
    step[0, :, 0] = slow[0, :, 0] - last
    step[1:, :, 0] = slow[1:, :, 0] - slow[:-1, :, -1]
    valid, wide = block.field("valid"), block.field("mean_square")
    hops = step.reshape(*slow.shape[:2], valid.shape[1], -1)
    power = (np.vecdot(hops, hops) / np.float32(hops.shape[3])).swapaxes(1, 2)
    counted = np.full(wide[:, 0].shape, valid.shape[1])
    if not all(m.all_valid for m in block.ticks):
        power, wide = power * valid, wide * valid
        counted = count_of(valid, axis=1)
    share = 1.0 / np.maximum(counted, 1)
    wide_mean, band_mean = wide.sum(axis=1) * share, power.sum(axis=1) * share
    known = block.field("any_valid").copy()
    for tick, m in enumerate(block.ticks):
        for repeat in m.repeats:  # a buffer that is played again is steady, too
            known[tick, repeat.track_index] = False
    heard = known & (wide_mean > IDLE_MEAN_SQUARE) & (band_mean > _FROZEN_MEAN_SQUARE)
    wide_mean, band_mean = (np.where(heard, one, np.nan) for one in (wide_mean, band_mean))
    rank = max(int(MOSTLY * valid.shape[1]) - 1, 0)
    mostly = np.partition(power, rank, axis=1)[:, rank]
    for part in zip(
        power, counted, known, heard, wide_mean, band_mean, mostly, slow[:, :, -1], strict=True
    ):
        yield BandPower(*part)
