"""The learned live floor: what the place itself sounds like on a track while nobody speaks.

Minimum statistics after R. Martin, "Noise power spectral density estimation based on optimal
smoothing and minimum statistics", IEEE Trans. Speech Audio Proc. 9(5), 504-512, 2001, taken
broadband: the minimum over 8 sub-windows of a smoothed power (here 100 ms means), corrected for
lying under the mean. Window lengths and the rules for freezing are our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import any_of, count_of
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import IDLE_DBFS, SPEECH_DB, rms_dbfs

MARGIN_DB: Final = 8.0
"""A fall of more than this under the learned floor is no drift of the place."""

SUB_WINDOWS: Final = 8
SUB_TICKS: Final = 12
"""8 times 1.2 s: pauses between words fall into it, and a floor is known after 9.6 s."""

_NEAR: Final = 10.0**0.5
"""Powers up to 5 dB over the least are taken for the noise itself, without speech."""
_LEAST_FREEDOM: Final = 16.0
"""Keeps the correction of the minimum under 4.5 dB."""


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What a restart need not learn anew: floor_dbfs, shape (tracks,), NaN where unknown."""

    floor_dbfs: Levels


class LiveFloor(TrackMemory):
    """Learns the live floor of every track, AES17 RMS; NaN before about 10 s of it were heard.

    A sub-window teaches only if it never went under `heard_above_dbfs` (before a floor is known)
    or further than `MARGIN_DB` under the floor: a mic that dies does not teach that silence is
    normal. A track that stays low but is plainly alive (10 dB up within 1.2 s, and low for more
    than half of that, so no radio gap) for 11 s brings its floor down.

    Attributes
    ----------
    floor_dbfs : ndarray, shape (tracks,)
        AES17 RMS, dBFS; NaN while it is not known.
    """

    floor_dbfs: Levels = per_track(np.nan)
    _powers: Levels = per_track(np.nan, rows=SUB_TICKS)
    _tick: int = remembered(By.WHOLE, 0)
    _lively: NDArray[np.int64] = per_track(0)
    _taught: Levels = per_track(np.nan, rows=(SUB_WINDOWS, SUB_TICKS))
    """The last sub-windows that taught, newest last."""

    def __init__(
        self,
        heard_above_dbfs: Levels,
        learned: Learned | None = None,
        *,
        up_db_s: float = 0.1,
        down_db_s: float = 0.25,
        lively_down_db_s: float = 0.5,
        known_ticks: int = 9,
        patience: int = 9,
    ) -> None:
        """Start with what an earlier watch learned, or with nothing.

        Parameters
        ----------
        heard_above_dbfs : ndarray, shape (tracks,)
            dBFS. Before a floor is known, only what is louder teaches.
        learned : Learned, optional
            Of an earlier watch of the same tracks.
        up_db_s, down_db_s, lively_down_db_s : float
            dB a second. The fastest that a floor rises, falls, and falls where the track is plainly
            alive.
        known_ticks : int
            So many of the twelve ticks of a sub-window must be known.
        patience : int
            Sub-windows of 1.2 s: a fall is a fault of the track first, and only then a new place.
        """
        self._tracks = len(heard_above_dbfs)
        self._heard_above_dbfs = heard_above_dbfs
        sub_window_s = SUB_TICKS / 10
        self._up_db, self._down_db = up_db_s * sub_window_s, down_db_s * sub_window_s
        self._lively_down_db = lively_down_db_s * sub_window_s
        self._known_ticks, self._patience = known_ticks, patience
        self.reset()
        if learned is not None:
            self.floor_dbfs = learned.floor_dbfs.copy()

    def update(self, mean_square: Levels) -> bool:
        """Take in the mean square of one tick, shape (tracks,); NaN where it is not known.

        True where the floors may have changed: at the end of each sub-window.
        """
        self._powers[self._tick] = mean_square
        self._tick = (self._tick + 1) % SUB_TICKS
        if self._tick:
            return False
        self._end_sub_window()
        return True

    def _end_sub_window(self) -> None:
        with np.errstate(invalid="ignore"):
            self._powers[rms_dbfs(self._powers) < IDLE_DBFS] = np.nan
        known = count_of(~np.isnan(self._powers), axis=0) >= self._known_ticks
        if not any_of(known):
            return
        # Tracks that are not known are filled in, and dropped again below. NaN sorts last.
        powers = np.sort(np.where(known, self._powers, 1.0), axis=0)
        lowest, middle = rms_dbfs(powers[0]), rms_dbfs(powers[SUB_TICKS // 2])
        highest = rms_dbfs(np.fmax.reduce(powers))
        learned = ~np.isnan(self.floor_dbfs)
        under = np.where(learned, self.floor_dbfs - MARGIN_DB, self._heard_above_dbfs)
        heard = known & (lowest >= under)
        lively = known & (middle < under) & (highest > lowest + SPEECH_DB)
        self._lively = np.where(heard, 0, self._lively + lively)
        lower = learned & lively & (self._lively > self._patience)
        self.floor_dbfs = self.floor_dbfs - np.where(lower, self._lively_down_db, 0.0)
        self._teach(powers, heard | (lively & ~learned))

    def _teach(self, powers: Levels, where: Flags) -> None:
        if not any_of(where):
            return
        self._taught[:-1, :, where] = self._taught[1:, :, where]
        self._taught[-1][:, where] = powers[:, where]
        full = where & ~np.isnan(self._taught[0, 0])
        if not any_of(full):
            return
        estimate = rms_dbfs(_minimum_statistics(self._taught[:, :, full]))
        floor = self.floor_dbfs[full]
        step = np.clip(estimate - floor, -self._down_db, self._up_db)
        self.floor_dbfs[full] = np.where(np.isnan(floor), estimate, floor + step)

    def teach(self, track_index: int, floor_dbfs: float) -> None:
        """Take that floor over where none is known yet."""
        if np.isnan(self.floor_dbfs[track_index]):
            self.floor_dbfs[track_index] = floor_dbfs

    def forget(self, where: Flags) -> None:
        """Begin anew: what was learned there was the sound of something that has stopped."""
        self.floor_dbfs[where] = np.nan
        self._taught[:, :, where] = np.nan
        self._powers[:, where] = np.nan
        self._lively[where] = 0

    def shift(self, gain_db: Levels) -> None:
        """The gain was turned by so much: all that was learned moves with it."""
        self.floor_dbfs += gain_db
        gain = 10.0 ** (gain_db / 10.0)
        self._taught *= gain
        self._powers *= gain

    @property
    def learned(self) -> Learned:
        """What was learned so far, for a later start."""
        return Learned(self.floor_dbfs.copy())


def _minimum_statistics(powers: Levels) -> Levels:
    """Mean power of the noise whose minimum is the least of these powers.

    `powers` has shape (sub-windows, ticks, tracks), NaN where not known. The mean of a noise
    without structure is chi-square distributed; how many degrees of freedom it has shows in the
    spread of the powers near the minimum, and with them how far the least of so many lies below
    their mean (its median by order statistics, since these powers, unlike Martin's, do not
    overlap). The quantile of the distribution is E. Wilson and M. Hilferty's (PNAS 17, 684-688,
    1931): within 0.04 dB for all of 16 degrees and more.
    """
    powers = powers.reshape(-1, powers.shape[-1])
    least = np.fmin.reduce(powers)
    # Relative to the least, so that sums of squares stay far from the limits of a float.
    quiet = powers <= _NEAR * least
    excess = np.where(quiet, powers / least - 1.0, 0.0)
    count = count_of(quiet, axis=0)
    mean = excess.sum(axis=0) / count
    variance = (excess * excess).sum(axis=0) / count - mean * mean
    freedom = 2.0 * (1.0 + mean) ** 2 / np.maximum(variance, 1e-9)
    spread = 2.0 / (9.0 * np.clip(freedom, _LEAST_FREEDOM, 1e6))
    deviation = NormalDist().inv_cdf(1.0 - 0.5 ** (1.0 / len(powers)))
    return np.asarray(least / (1.0 - spread + deviation * np.sqrt(spread)) ** 3)
