"""Never heard: a track that was dead before the watch began, and has no place to lose.

It is never heard where its level has not stirred, as steady as electronics and no louder than a
floor, while most of its neighbours were heard for 60 s (CONTRACT.md). Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.measure.presence import loudest_floor_dbfs
from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Kind, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_DBFS, rms_dbfs

_FOLLOW: Final = 0.1
_EVERY: Final = 5
"""Whether a track stirs is looked at on every fifth tick, in all five: one tick alone would see
always the same part of speech that is as regular."""


@dataclass(frozen=True, slots=True, eq=False)
class LearnedHeard:
    """Seconds for which each track stirred, and its neighbours were heard, shape (tracks,)."""

    stirred_s: Levels
    neighbours_s: Levels


class NeverHeard(TrackMemory):
    """Follows which tracks have stirred since the watch began.

    never : (tracks,) where nothing stirred, though the neighbours were heard
    """

    never: Flags = per_track(False)
    _powers: Levels = per_track(np.nan, rows=_EVERY)
    _mean_dbfs: Levels = per_track(np.nan)
    _stirred_s: Levels = per_track(0.0)
    _neighbours_s: Levels = per_track(0.0)
    _all_heard: bool = remembered(By.ANEW, False)

    def __init__(
        self,
        scene: Scene,
        *,
        never_heard_s: float = 60.0,
        least_stirred_s: float = 1.0,
        stir_db: float = 1.5,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        never_heard_s : float
            s. Neighbours heard for so long make a track that never stirred `never
            heard` (CONTRACT.md).
        least_stirred_s : float
            s. A track has been heard when it stirred for this long in all.
        stir_db : float
            dB. Steady electronics keeps its 100 ms level this near to its mean; no
            live place does.
        """
        self._never_heard_s = never_heard_s
        self._least_stirred_s = least_stirred_s
        self._stir_db = stir_db
        self._loudest_dbfs = loudest_floor_dbfs(scene)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._tracks = len(scene.tracks)
        self.reset()

    @property
    def learned(self) -> LearnedHeard:
        """What a restart need not learn anew."""
        return LearnedHeard(self._stirred_s.copy(), self._neighbours_s.copy())

    def learn(self, learned: LearnedHeard) -> None:
        """Start from what an earlier watch of the same tracks heard."""
        self._stirred_s = learned.stirred_s.copy()
        self._neighbours_s = learned.neighbours_s.copy()

    def has_stirred(self, track_index: int) -> bool:
        """Whether the track of that index has been heard."""
        return bool(self._stirred_s[track_index] >= self._least_stirred_s)

    def update(self, m: Measurement, power: Levels, tick: int) -> None:
        """Take in tick number `tick`; `power` is its mean square, NaN where not all is valid."""
        if self._all_heard:
            return
        self._powers[tick % _EVERY] = power
        if tick % _EVERY == _EVERY - 1:
            self.never = self._never_heard(m)

    def _never_heard(self, m: Measurement) -> Flags:
        """Where nothing stirred since the watch began, though the neighbours were heard."""
        levels_dbfs = rms_dbfs(self._powers)
        level_dbfs = levels_dbfs[-1]
        known = (levels_dbfs > IDLE_DBFS).all(axis=0)
        if not any_of(known):
            return self.never
        mean_dbfs = np.where(np.isnan(self._mean_dbfs), level_dbfs, self._mean_dbfs)
        off_db = level_dbfs - mean_dbfs
        stirs = np.abs(levels_dbfs - mean_dbfs).max(axis=0) > self._stir_db
        stirs = known & (stirs | (level_dbfs > self._loudest_dbfs))
        self._mean_dbfs = np.where(known, mean_dbfs + _FOLLOW * off_db, self._mean_dbfs)
        tick_s = _EVERY * (m.end_s - m.start_s)
        self._stirred_s += stirs * tick_s
        heard = self._stirred_s >= self._least_stirred_s
        self._all_heard = bool((heard | ~self._open).all())
        self._neighbours_s += known * self._neighbours_heard(heard & m.present) * tick_s
        return np.asarray(self._open & ~heard & (self._neighbours_s >= self._never_heard_s))

    def _neighbours_heard(self, heard: Flags) -> Levels:
        """1 where most of the other open tracks are heard, else 0."""
        others = np.count_nonzero(self._open) - self._open
        live = np.count_nonzero(self._open & heard) - (self._open & heard)
        return np.asarray((live * 2 > others) & (others > 0), dtype=np.float64)
