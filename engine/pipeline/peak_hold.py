"""Sample peaks of the newest tick, and the highest of the last two seconds, for the board."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import amplitude_db

PEAK_HOLD_TICKS: Final = 20


class PeakHold(TrackMemory):
    """The peaks of the newest ticks, dBFS; `FLOOR_DB` where nothing came."""

    _peaks: Levels = per_track(0.0, rows=PEAK_HOLD_TICKS)
    _newest: int = remembered(By.WHOLE, 0)

    def __init__(self, tracks: int) -> None:
        """Start with no peak of that many tracks."""
        self._tracks = tracks
        self.reset()

    def update(self, m: Measurement, number: int) -> None:
        """Take in that tick, by its number."""
        self._newest = number % PEAK_HOLD_TICKS
        self._peaks[self._newest] = np.maximum(m.peak_max, -m.peak_min).max(axis=0)

    @property
    def peak_dbfs(self) -> Levels:
        """Of the newest tick, shape (tracks,)."""
        return amplitude_db(self._peaks[self._newest])

    @property
    def hold_dbfs(self) -> Levels:
        """The highest of the last two seconds, shape (tracks,)."""
        return amplitude_db(self._peaks.max(axis=0))
