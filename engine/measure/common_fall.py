"""Several microphones that fall under their learned floors together: a source stopped.

A floor learned beside a loudspeaker, an engine or a line-up tone is no promise that the place stays
as loud. One microphone that falls has lost something of its own; two or more that fall within
seconds have lost what they all heard, as long as what is left is as loud as a quiet place is: under
that, a receiver or a power supply that several share went. Numbers: ours, by the healthy floors of
CONTRACT.md; common practice, no source.
"""

from __future__ import annotations

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.presence import unlearned_dbfs
from engine.model.messages import Flags, Kind, Levels
from engine.model.track_remap import By
from engine.model.tracks import Scene

QUIET_TICKS: Final = 10
"""The level of a track is that of its quietest moment in so many ticks: 1 s."""
WITNESS_DB: Final = 5.0
"""Another track fell with it when it lies this far under its floor; its quietest moment in a second
lies 2 dB under it in health."""
TOGETHER_TICKS: Final = 30
"""Falls this close, in ticks, belong together: a room rings for a second or two."""
_NEVER: Final = -(10**9)


class CommonFall:
    """Says of which tracks the learned floor is void, because what they heard has stopped."""

    CARRIED: ClassVar = {
        "_levels_dbfs": By.LAST,
        "_tick": By.WHOLE,
        "_fell_tick": By.FIRST,
        "_sank_tick": By.FIRST,
        "_stopped_tick": By.FIRST,
    }

    def __init__(self, scene: Scene) -> None:
        """Start with nothing heard."""
        tracks = len(scene.tracks)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._least_dbfs = unlearned_dbfs(scene)
        self._levels_dbfs = np.full((QUIET_TICKS, tracks), np.nan)
        self._tick = 0
        self._fell_tick: NDArray[np.int64] = np.full(tracks, _NEVER)
        self._sank_tick: NDArray[np.int64] = np.full(tracks, _NEVER)
        self._stopped_tick: NDArray[np.int64] = np.full(tracks, _NEVER)

    def update(self, level_dbfs: Levels, floor_dbfs: Levels, presence_dbfs: Levels) -> Flags:
        """Take in one tick, arrays of shape (tracks,), AES17 RMS; where what was heard has stopped.

        True in one tick: whoever learned from that sound begins anew.
        """
        self._levels_dbfs[self._tick % QUIET_TICKS] = level_dbfs
        self._tick += 1
        quiet_dbfs = self._levels_dbfs.min(axis=0)
        live = self._open & (quiet_dbfs >= self._least_dbfs)  # NaN, too, is not live
        sank = live & (quiet_dbfs < floor_dbfs - WITNESS_DB)
        fell = live & (quiet_dbfs < presence_dbfs) & ~np.isnan(floor_dbfs)
        self._sank_tick = self._since(self._sank_tick, sank)
        self._fell_tick = self._since(self._fell_tick, fell)
        age = self._tick - self._fell_tick
        begins = fell & (age <= TOGETHER_TICKS)
        for track_index in np.flatnonzero(begins):
            apart = np.abs(self._sank_tick - self._fell_tick[track_index])
            witness = sank & (apart <= TOGETHER_TICKS)
            witness |= self._tick - self._stopped_tick <= TOGETHER_TICKS
            witness[track_index] = False
            begins[track_index] = witness.any()
        self._stopped_tick[begins] = self._tick
        return np.asarray(begins)

    def _since(self, before: NDArray[np.int64], holds: Flags) -> NDArray[np.int64]:
        """Tick since which that has held without a break."""
        began = np.where(before == _NEVER, self._tick, before)
        return np.where(holds, began, _NEVER)
