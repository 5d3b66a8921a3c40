"""Levels over half a millisecond, and the quietest that held for a few milliseconds.

For gaps as short as a radio makes them; what they mean is the detectors' business.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import Hops, some_rows
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By

STEP_S: Final = 0.0005
HELD_STEPS: Final = (5, 10, 20, 40)
"""Steps that a level must hold to count: 2.5 ms at least, so that a zero crossing is no gap. Each
is twice the one before."""
_LOWEST_POWER: Final = np.float32(1e-16)
_DB: Final = np.float32(10.0 / np.log(10.0))
"""Decibels of a natural logarithm, which numpy takes of many float32 several times faster."""


class ShortLevels(TrackMemory):
    """Measures them of every track, of any number of ticks at once."""

    _tail: NDArray[np.float32] = remembered(
        By.FIRST, lambda d: np.full((d._tracks, HELD_STEPS[-1] - 1), np.nan, dtype=np.float32)
    )

    def __init__(self, tracks: int, sample_rate_hz: int, hop_frames: int) -> None:
        """Start with nothing heard."""
        self._tracks = tracks
        self._per_hop = _steps_per_hop(hop_frames, hop_frames / (STEP_S * sample_rate_hz))
        frames = hop_frames // self._per_hop
        self._mean = np.full(frames, 2.0 / frames, np.float32)
        self.reset()

    def update(self, hops: Hops) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Take in whole ticks.

        Returns
        -------
        steps_db : (ticks, tracks, steps)
            Level of each step, dB; NaN where not valid.
        quietest_db : (ticks, lengths, tracks)
            The least level that held for each of `HELD_STEPS` and ended in that tick.
        """
        tracks, ticks = self._tracks, hops.ticks
        steps = hops.valid.shape[1] * self._per_hop
        power = np.empty((tracks, ticks, steps // ticks), dtype=np.float32)
        for which in some_rows(hops.channels):
            x = np.square(hops.channels[which])
            np.matmul(x.reshape(*power[which].shape, -1), self._mean, out=power[which])
        steps_db = _DB * np.log(np.maximum(power, _LOWEST_POWER)).reshape(tracks, steps)
        if not hops.all_valid:
            steps_db[~np.repeat(hops.valid, self._per_hop, axis=1)] = np.nan
        sound = np.concatenate([self._tail, steps_db], axis=1)
        self._tail = sound[:, -self._tail.shape[1] :].copy()
        by_tick = np.ascontiguousarray(hops.by_tick(steps_db).swapaxes(0, 1))
        return by_tick, _quietest(sound, steps, ticks)


@lru_cache
def _steps_per_hop(hop_frames: int, wanted: float) -> int:
    """The number of equal steps in a hop that is nearest to the one wanted."""
    whole = [number for number in range(1, hop_frames + 1) if hop_frames % number == 0]
    return min(whole, key=lambda number: abs(number - wanted))


def _quietest(sound_db: NDArray[np.float32], newest: int, ticks: int) -> NDArray[np.float32]:
    """The least level of each track that held for so long and ended in each of the newest ticks.

    The loudest of two neighbouring stretches is the loudest of one twice as long.
    """
    twice = np.maximum(sound_db[:, 1:], sound_db[:, :-1])  # five, by way of two and four
    loudest = np.maximum(np.maximum(twice[:, 2:], twice[:, :-2])[:, :-1], sound_db[:, 4:])
    quietest, stride = [_least(loudest[:, -newest:], ticks)], 1
    for half in HELD_STEPS[:-1]:
        loudest = np.maximum(loudest[:, half // stride :], loudest[:, : -half // stride])
        quietest.append(_least(loudest[:, -newest // stride :], ticks))
        if stride == 1:  # the longer ones need not begin at every step
            stride = HELD_STEPS[0]
            loudest = loudest[:, (loudest.shape[1] - 1) % stride :: stride]
    return np.ascontiguousarray(np.stack(quietest, axis=1))


def _least(levels_db: NDArray[np.float32], ticks: int) -> NDArray[np.float32]:
    """Of each tick and row, without NaN where there is any number: fmin is several times slower."""
    by_tick = levels_db.reshape(len(levels_db), ticks, -1)
    least = np.minimum.reduce(by_tick, axis=2)
    if np.isnan(least).any():
        least = np.fmin.reduce(by_tick, axis=2)
    return np.asarray(least.T)
