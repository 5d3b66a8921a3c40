"""In which ten seconds the wearer of a pack spoke: what others say on it tells nothing of the pack.

A voice at 20 cm is some 20 dB louder on its own pack than one at 2 m (level falls with distance).
So a period is the wearer's where its peak comes near to the peaks that the track has had lately.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.early_signs.known_values import quantile
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By

PERIODS: Final = 60
LOUD: Final = 0.9
"""Who speaks in a tenth of the time is found by this quantile of the peaks."""
NEAR_DB: Final = 12.0
"""One's own voice spans so much between loud and soft phrases (common practice, no source)."""
FADES_DB: Final = 0.05
"""By so much a period the loud level is forgotten, 18 dB an hour."""
FIRST_DB: Final = 12.0
"""A voice so far over all that a track has had is heard on it for the first time."""


class OwnVoice(TrackMemory):
    """Fed with the highest peaks of each period.

    `loud_dbfs`, shape (tracks,), is how loud each wearer is; who sets it goes on from there.
    """

    _peaks: Levels = per_track(np.nan, rows=PERIODS)
    loud_dbfs: Levels = per_track(np.nan)
    _over: NDArray[np.int64] = per_track(0)
    _next: int = remembered(By.WHOLE, 0)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    def update(self, peak_dbfs: Levels) -> tuple[Flags, Flags]:
        """Where the wearer spoke, and where that is new: all that was learned was not of them.

        Shapes (tracks,); `peak_dbfs` is NaN where nobody spoke.
        """
        over = np.asarray(peak_dbfs > self.loud_dbfs + FIRST_DB)
        # Two such periods in a row that are known: one may be a blow.
        self._over = np.where(np.isnan(peak_dbfs), self._over, np.where(over, self._over + 1, 0))
        new = np.asarray(self._over == 2)
        self._peaks[:, new] = np.nan
        self.loud_dbfs[new] = np.nan
        self._peaks[self._next % PERIODS] = peak_dbfs
        self._next += 1
        loudest = quantile(self._peaks, LOUD)
        known = np.where(
            self._over == 1, self.loud_dbfs, np.fmax(self.loud_dbfs - FADES_DB, loudest)
        )
        self.loud_dbfs = known
        return np.asarray(peak_dbfs >= self.loud_dbfs - NEAR_DB), new
