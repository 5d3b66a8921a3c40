"""Main against safety while somebody speaks: gain offset and polarity, for the line check.

The low end of both, averaged down to some 4 kHz, is correlated within a millisecond: the largest
value is positive for packs wired alike, negative where one is inverted (Pearson's r of an inverted
copy is -1). Weak or undecided correlation says nothing. Common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.pair_comparison import gain_offset_db, polarity
from engine.model.messages import Levels, Measurement

_SLOW_HZ: Final = 4_000
_LAGS: Final = 4
SURE: Final = 0.35
CLEARER: Final = 1.15


class Pair:
    """Adds up ticks with speech of one pair; `main` and `safety` are track indices."""

    def __init__(self, main: int, safety: int, sample_rate_hz: int) -> None:
        self.main, self.safety = main, safety
        self._every = max(1, sample_rate_hz // _SLOW_HZ)
        self._step = max(1, round(sample_rate_hz / 48_000))
        self._sums: Levels = np.zeros(2 * _LAGS + 1)
        self._slow: Levels = np.zeros(2)
        self._energy: Levels = np.zeros((2, 2))

    def add(self, m: Measurement) -> None:
        """Take in one tick in which somebody speaks."""
        x = np.ascontiguousarray(m.samples.T[[self.main, self.safety]]).astype(np.float64)
        rise = x[:, self._step :] - x[:, : -self._step]
        self._energy += np.stack([np.vecdot(x, x), np.vecdot(rise, rise)])
        whole = x.shape[1] // self._every * self._every
        slow = x[:, :whole].reshape(2, -1, self._every).mean(axis=2)
        slow = slow - slow.mean(axis=1, keepdims=True)
        middle = slow[0, _LAGS:-_LAGS]
        for lag in range(2 * _LAGS + 1):
            self._sums[lag] += float(middle @ slow[1, lag : lag + len(middle)])
        self._slow += [float(middle @ middle), float(slow[1, _LAGS:-_LAGS] @ slow[1, _LAGS:-_LAGS])]

    @property
    def offset_db(self) -> NDArray[np.float64] | None:
        """Main less safety, dB: the whole voice, then its treble; None before any speech."""
        if (self._energy <= 0.0).any():
            return None
        return gain_offset_db(self._energy[:, 0], self._energy[:, 1])

    @property
    def inverted(self) -> bool | None:
        """Whether they are wired against each other; None where that can't be told."""
        sign, r = polarity(self._sums, self._slow, CLEARER)
        return sign < 0 if sign and abs(r) >= SURE else None
