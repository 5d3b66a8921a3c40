"""Several microphones that fall under their learned floors together: a source stopped.

A floor learned beside a loudspeaker, an engine or a line-up tone is no promise that the place stays
as loud. One microphone that falls has lost something of its own; two or more that fall within
seconds have lost what they all heard, as long as what is left is as loud as a quiet place is: under
that, a receiver or a power supply that several share went. Numbers: ours, by the healthy floors of
CONTRACT.md; common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.presence import unlearned_dbfs
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Kind, Levels
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

QUIET_TICKS: Final = 10
"""The level of a track is that of its quietest moment in so many ticks: 1 s."""
_NEVER: Final = -(10**9)


class CommonFall(TrackMemory):
    """Says of which tracks the learned floor is void, because what they heard has stopped."""

    _levels_dbfs: Levels = per_track(np.nan, rows=QUIET_TICKS)
    _tick: int = remembered(By.WHOLE, 0)
    _any: bool = remembered(By.WHOLE, True)
    """Some track had fallen or sunk in the tick before."""
    _fell_tick: NDArray[np.int64] = per_track(_NEVER)
    _sank_tick: NDArray[np.int64] = per_track(_NEVER)
    _stopped_tick: NDArray[np.int64] = per_track(_NEVER)

    def __init__(self, scene: Scene, *, witness_db: float = 5.0, together_ticks: int = 30) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are measured.
        witness_db : float
            dB. Another track fell with it when it lies this far under its floor; its quietest
            moment in a second lies 2 dB under it in health.
        together_ticks : int
            Ticks. Falls this close belong together: a room rings for a second or two.
        """
        self._witness_db, self._together_ticks = witness_db, together_ticks
        self._tracks = len(scene.tracks)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._least_dbfs = unlearned_dbfs(scene)
        self.reset()

    def update(
        self, level_dbfs: Levels, newest_dbfs: Levels, floor_dbfs: Levels, presence_dbfs: Levels
    ) -> Flags:
        """Take in one tick, arrays of shape (tracks,), AES17 RMS; where what was heard has stopped.

        `newest_dbfs` is of that tick alone: on its way from a loud place to nothing, too, the level
        over 400 ms is for a moment that of a quiet place. True in one tick: whoever learned from
        that sound begins anew.
        """
        self._levels_dbfs[self._tick % QUIET_TICKS] = level_dbfs
        self._tick += 1
        quiet_dbfs = self._levels_dbfs.min(axis=0)
        lowest_dbfs = np.minimum(quiet_dbfs, newest_dbfs)
        live = self._open & (lowest_dbfs >= self._least_dbfs)  # NaN, too, is not live
        sank = live & (quiet_dbfs < floor_dbfs - self._witness_db)
        fell = live & (quiet_dbfs < presence_dbfs) & ~np.isnan(floor_dbfs)
        if not (self._any or any_of(sank) or any_of(fell)):
            return np.zeros(self._tracks, dtype=np.bool_)
        self._any = bool(any_of(sank) or any_of(fell))
        self._sank_tick = self._since(self._sank_tick, sank)
        self._fell_tick = self._since(self._fell_tick, fell)
        age = self._tick - self._fell_tick
        begins = fell & (age <= self._together_ticks)
        for track_index in indices(begins):
            apart = np.abs(self._sank_tick - self._fell_tick[track_index])
            witness = sank & (apart <= self._together_ticks)
            witness |= self._tick - self._stopped_tick <= self._together_ticks
            witness[track_index] = False
            begins[track_index] = any_of(witness)
        self._stopped_tick[begins] = self._tick
        return np.asarray(begins)

    def _since(self, before: NDArray[np.int64], holds: Flags) -> NDArray[np.int64]:
        """Tick since which that has held without a break."""
        began = np.where(before == _NEVER, self._tick, before)
        return np.where(holds, began, _NEVER)
