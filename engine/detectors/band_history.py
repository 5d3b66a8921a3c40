"""The newest four seconds of each track's levels, as what tells a dead mic asks about them.

Electronics is so steady that the level of what is left over 100 ms moves by a fraction of a
decibel; that it lasted, and began where the place fell away, is read from here.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.band_power import BandPower
from engine.model.flag_arrays import any_of, count_of
from engine.model.messages import Flags, Levels
from engine.model.percentiles import known_median, percentiles
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import rms_dbfs

JUDGED_S: Final = 4.0
"""A fall is judged from here on after its onset, s."""
SETTLE_S: Final = 0.6
"""A pop and a sagging bias may last that long, s."""
HALF_SECOND: Final = 5
_HISTORY: Final = 40
_LATE: Final = 20
"""In ticks: what a level that teaches is averaged over; kept levels; how old one is before."""
JUDGED_TICKS: Final = round((JUDGED_S - SETTLE_S) * 10)
"""Ticks that are judged, of the track and of its neighbours: they may speak, and pause seldom."""
_ENOUGH: Final = 0.7
"""Share of them that must be low."""
_LATE_ROWS: Final = tuple(
    (tick - _LATE - np.arange(HALF_SECOND)) % _HISTORY for tick in range(_HISTORY)
)


class BandHistory(TrackMemory):
    """Mean squares of each tick in the band and in all, and whether the track was low.

    tick : number of the newest tick, from 0
    """

    tick: int = remembered(By.WHOLE, -1)
    _band: Levels = per_track(np.nan, rows=_HISTORY)
    _wide: Levels = per_track(np.nan, rows=_HISTORY)
    _low: Flags = per_track(False, rows=_HISTORY)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    def add(self, power: BandPower) -> None:
        """Take in one tick; until it is marked, it was low nowhere."""
        self.tick += 1
        at = self.tick % _HISTORY
        self._wide[at], self._band[at], self._low[at] = power.wide_mean, power.band_mean, False

    def mark(self, low: Flags) -> None:
        """Say where the newest tick is low."""
        self._low[self.tick % _HISTORY] = low

    def forget(self, tracks: Flags) -> None:
        """What was heard in the band there says nothing any more."""
        self._band[:, tracks] = np.nan

    def now_db(self, track_index: int) -> float:
        """Level of the newest tick in the band, dB."""
        return float(rms_dbfs(self._band[self.tick % _HISTORY, track_index]))

    def half_second(self) -> tuple[Levels, Flags]:
        """Mean square of the half second of two seconds ago, in the band, and where it was low at
        any time."""
        rows = _LATE_ROWS[self.tick % _HISTORY]
        power = self._band[rows].sum(axis=0) / HALF_SECOND
        return power, np.asarray(self._low[rows].any(axis=0))

    def quiet_db(self, track_index: int) -> float:
        """How quiet all of it was in the band, dB: its lowest tenth."""
        (quiet_db,) = percentiles(rms_dbfs(self._band[:, track_index]), 10.0)
        return -np.inf if np.isnan(quiet_db) else quiet_db

    def left_db(self, track_index: int) -> float:
        """What was left in the band where the track was low, dB: the median."""
        return float(rms_dbfs(known_median(self._band[self._low[:, track_index], track_index])))

    def left_dbfs(self, track_index: int) -> float:
        """The same of all that was left, dBFS."""
        return float(rms_dbfs(known_median(self._wide[self._low[:, track_index], track_index])))

    def spread_dbfs(
        self, track_index: int, ticks: int = JUDGED_TICKS
    ) -> tuple[float, float, float] | None:
        """The lowest tenth, the middle and the highest tenth of the low ticks among so many newest
        ones, dBFS; None where they are too few."""
        rows = self._judged()[:ticks]
        rows = rows[self._low[rows, track_index]]
        if len(rows) < _ENOUGH * ticks:
            return None
        wide = rms_dbfs(self._wide[rows, track_index])
        low, middle, high = percentiles(wide, 10.0, 50.0, 90.0)
        return None if np.isnan(middle) else (low, middle, high)

    def lowest_db(self, tracks: Flags) -> Levels:
        """The lowest level in the band of those tracks, of the ticks that are judged, dB."""
        return np.asarray(np.fmin.reduce(rms_dbfs(self._band[self._judged()][:, tracks])))

    def mostly_over(self, limit: NDArray[np.float32], ticks: int) -> Flags:
        """Where more than half of so many newest ticks lie over the limit, mean square in the
        band, shape (tracks,)."""
        rows = (self.tick - np.arange(ticks)) % _HISTORY
        return np.asarray(2 * count_of(self._band[rows] > limit, axis=0) > ticks)

    def steady_ticks(self, track_index: int, steady_db: float) -> int:
        """How many of the newest ticks lie within `steady_db` of what is left: a place that was low
        already is not where the mic died."""
        rows = (self.tick - np.arange(_HISTORY)) % _HISTORY
        wide = rms_dbfs(self._wide[rows, track_index])
        off = np.abs(wide - known_median(wide[:JUDGED_TICKS])) > steady_db
        off[:JUDGED_TICKS] = False
        return int(np.argmax(off)) if any_of(off) else _HISTORY

    def _judged(self) -> NDArray[np.int64]:
        return (self.tick - np.arange(JUDGED_TICKS)) % _HISTORY
