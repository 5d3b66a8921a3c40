"""How quiet each track was lately, and for how long: what only a gap is under.

The quietest levels of ten seconds, tick by tick, and of five minutes before, ten seconds at a time:
a loud sound hides how quiet its place can be until it stops.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Levels
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By

UNDER_DB: Final = np.array([[10.0], [9.0], [8.0], [7.0]])
"""A gap lies this far under the quietest that held lately, for 2.5, 5, 10 and 20 ms."""

_HISTORY: Final = 100
_LEARN_TICKS: Final = 20
_EARLIER: Final = 30
"""Of so many times ten seconds before the last ones the quietest is kept: five minutes."""
_PLACE_DB: Final = 20.0
"""What is further under the floor is a mute's, and says nothing of how quiet the place can be."""
_TEN: Final = 10
"""Ticks of which the quietest is kept, so that of the whole history it is found quickly."""


class QuietHistory(TrackMemory):
    """The quietest levels of every track; each array ends in (lengths, tracks)."""

    _quietest: Levels = per_track(np.nan, rows=(_HISTORY, len(UNDER_DB)))
    _tens: Levels = per_track(np.nan, rows=(_HISTORY // _TEN, len(UNDER_DB)))
    _earlier: Levels = per_track(np.nan, rows=(_EARLIER, len(UNDER_DB)))
    _earlier_least: Levels = per_track(np.nan, rows=len(UNDER_DB))
    _known_in_tens: NDArray[np.int64] = per_track(0, rows=(_HISTORY // _TEN, len(UNDER_DB)))
    _stale: set[int] = remembered(By.WHOLE, lambda _: set())
    """Of which tens of ticks `_tens` and `_known_in_tens` are still to be made."""
    _ticks: int = remembered(By.WHOLE, 0)

    def __init__(self, tracks: int) -> None:
        """Start with nothing heard."""
        self._tracks = tracks
        self.reset()

    @property
    def newest(self) -> Levels:
        """What was learned of the newest tick, dB, shape (lengths, tracks); NaN where nothing."""
        return np.asarray(self._quietest[self._ticks % _HISTORY - 1])

    def learn(self, lowest_db: Levels, floor_dbfs: Levels) -> None:
        """Keep what was quietest in a tick, and the place's part of each ten seconds."""
        at = self._ticks % _HISTORY
        self._quietest[at] = lowest_db
        self._stale.add(at // _TEN)
        self._ticks += 1
        if self._ticks % _HISTORY == 0:
            self._sum_up()
            place_db = np.nan_to_num(floor_dbfs, nan=-np.inf) - _PLACE_DB
            row = self._ticks // _HISTORY % _EARLIER
            self._earlier[row] = np.maximum(np.fmin.reduce(self._tens), place_db)
            self._earlier_least = np.fmin.reduce(self._earlier)

    def _sum_up(self) -> None:
        """Bring what is kept of each ten ticks up to the newest one."""
        for ten in self._stale:
            rows = self._quietest[ten * _TEN : (ten + 1) * _TEN]
            self._tens[ten] = np.fmin.reduce(rows)
            self._known_in_tens[ten] = np.add.reduce(~np.isnan(rows), axis=0, dtype=np.int64)
        self._stale.clear()

    def shift(self, gain_db: Levels) -> None:
        """A gain was turned by so much, shape (tracks,)."""
        for levels_db in (self._quietest, self._tens, self._earlier, self._earlier_least):
            levels_db += gain_db

    def forget(self, track_index: int) -> None:
        """Begin that track anew."""
        for levels_db in (self._quietest, self._tens, self._earlier, self._earlier_least):
            levels_db[..., track_index] = np.nan
        self._known_in_tens[..., track_index] = 0

    def limits_db(self, floor_db: Levels) -> Levels:
        """The levels that only gaps of such lengths are under, dB, shape (lengths, tracks), where
        the place allows them up to `floor_db`, shape (tracks,).

        -inf before the track was heard for two seconds.
        """
        self._sum_up()
        quietest = np.fmin(np.fmin.reduce(self._tens), self._earlier_least)
        heard = self._known_in_tens.sum(axis=0) >= _LEARN_TICKS
        return np.where(heard, np.fmin(quietest - UNDER_DB, floor_db), -np.inf)

    def longest_db(self, track_index: int) -> float:
        """The quietest that held for the longest of the lengths in the last ten seconds, dB."""
        self._sum_up()
        return float(np.fmin.reduce(self._tens[:, -1, track_index]))
