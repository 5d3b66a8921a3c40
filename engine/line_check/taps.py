"""Taps on a mic: short, steep and alone, as no syllable is. Numbers: common practice, no source."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Levels, Measurement

LEAST: Final = 10.0 ** (-45.0 / 20.0)
RISE: Final = 10.0 ** (20.0 / 20.0)
FALL: Final = 10.0 ** (12.0 / 20.0)
BEFORE_HOPS: Final = 8
AFTER_HOPS: Final = 8
"""A tap stands 20 dB over the 80 ms before it and has fallen by 12 dB after 80 ms; a syllable
lasts 100 ms and more."""
LOOK_HOPS: Final = 12
OWN: Final = 10.0 ** (-12.0 / 20.0)
"""A tap is heard by other mics as well: only those near the loudest were tapped."""


class Taps:
    """Finds taps on every track, 120 ms late."""

    def __init__(self, tracks: int) -> None:
        self._peaks: Levels = np.zeros((BEFORE_HOPS + 1 + LOOK_HOPS, tracks))

    def update(self, m: Measurement) -> Levels:
        """How many taps each track had in this tick, shape (tracks,)."""
        newest = m.peak
        peaks = np.concatenate([self._peaks, newest])
        self._peaks = peaks[-len(self._peaks) :]
        taps = np.zeros((len(newest), peaks.shape[1]))
        for n in range(len(newest)):
            hop = n + BEFORE_HOPS + 1
            peak = peaks[hop]
            before = peaks[hop - BEFORE_HOPS - 1 : hop - 1].max(axis=0)
            around = peaks[hop - 1 : hop + 3].max(axis=0)
            after = peaks[hop + AFTER_HOPS : hop + LOOK_HOPS].max(axis=0)
            steep = (peak >= LEAST) & (peak >= around) & (peak >= RISE * before)
            taps[n] = np.where(steep & (peak >= FALL * after), peak, 0.0)
        highest = taps.max(axis=0)
        loudest = highest.max()
        return np.where(highest > OWN * loudest, np.count_nonzero(taps, axis=0), 0).astype(float)
