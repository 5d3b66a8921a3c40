"""True peak of every track by the interpolation of ITU-R BS.1770-5 Annex 2.

The interpolator runs at 4x at every sample rate. Annex 2 would let 96 kHz do with 2x and
192 kHz with none, but its table is relative to the sample rate: at 4x a sine at a given
fraction of the rate reads alike at all rates (EBU Tech 3341 cases 15 to 23), and since most hops
are skipped the wish for less work is met already.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import Hops
from engine.model.messages import Flags, Levels, Samples
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import amplitude_db

# fmt: off
_PHASE_0: Final = (
    0.0017089843750, 0.0109863281250, -0.0196533203125, 0.0332031250000,
    -0.0594482421875, 0.1373291015625, 0.9721679687500, -0.1022949218750,
    0.0476074218750, -0.0266113281250, 0.0148925781250, -0.0083007812500,
)
_PHASE_1: Final = (
    -0.0291748046875, 0.0292968750000, -0.0517578125000, 0.0891113281250,
    -0.1665039062500, 0.4650878906250, 0.7797851562500, -0.2003173828125,
    0.1015625000000, -0.0582275390625, 0.0330810546875, -0.0189208984375,
)
# fmt: on
PHASES: Final = np.array([_PHASE_0, _PHASE_1, _PHASE_1[::-1], _PHASE_0[::-1]])
"""Taps, shape (4 phases, 12), newest sample first. BS.1770-5 Annex 2, the order-48 table."""

GAIN_BOUND: Final = float(np.abs(PHASES).sum(axis=1).max()) * (1.0 + 1e-5)
"""No interpolated value exceeds this times the largest of its 12 samples (2.02: the largest L1
norm of a phase). The last factor covers float32 rounding, under 12 * 2^-23 relative."""

_MEMORY: Final = PHASES.shape[1] - 1
_STEP: Final = 16
"""Samples per row of the matrix product; 16 ran fastest of 8 to 64."""
_STEPS_AT_ONCE: Final = 2048
"""Keeps the interpolated values of one product (0.5 MB) inside the cache."""


class TruePeak(TrackMemory):
    """The largest true peak of every track since the start; never below the sample peak.

    A hop is interpolated only where its samples could, by `GAIN_BOUND`, lift the maximum: the
    answer is the same as if all were. Values that would need samples of a hop that does not
    count are left out.

    Parameters
    ----------
    tracks : int
    skip : bool
        Without it every hop is interpolated, at many times the cost.
    """

    _max: Levels = per_track(0.0)
    _tail: Samples = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, _MEMORY), dtype=np.float32)
    )
    _tail_peak: Levels = remembered(By.FIRST, lambda d: np.zeros((d._tracks, 1)))
    _tail_valid: Flags = remembered(By.FIRST, lambda d: np.ones((d._tracks, 1), dtype=np.bool_))
    _measured: Flags = per_track(False)

    def __init__(self, tracks: int, skip: bool = True) -> None:
        self._tracks, self._skip = tracks, skip
        self.reset()
        self._matrix = _toeplitz()

    def update(self, hops: Hops) -> None:
        """Take in the next hops; a hop must have at least 11 frames unless it is the last."""
        peak = hops.peak
        np.maximum(self._max, peak.max(axis=1), out=self._max)
        self._measured |= hops.valid.any(axis=1)
        before = np.concatenate([self._tail_peak, peak[:, :-1]], axis=1)
        near = np.maximum(peak, before)
        wanted = near * GAIN_BOUND > self._max[:, None] if self._skip else near > 0.0
        wanted &= hops.valid
        if wanted.any():
            self._interpolate(hops, *np.nonzero(wanted))
        self._tail = np.concatenate([self._tail, hops.channels[:, -_MEMORY:]], axis=1)[:, -_MEMORY:]
        self._tail_peak = peak[:, -1:]
        self._tail_valid = hops.valid[:, -1:]

    def _interpolate(self, hops: Hops, track: NDArray[np.intp], hop: NDArray[np.intp]) -> None:
        """Lift the maxima by the interpolated values of the hops at (track, hop)."""
        length = hops.hop_frames
        by_hop = hops.channels.reshape(len(hops.channels), -1, length)
        leads = hop == 0
        lead = np.empty((len(track), _MEMORY), dtype=np.float32)
        lead[leads] = self._tail[track[leads]]
        later = np.flatnonzero(hop)
        if len(later):  # a hop that is shorter than that comes alone
            lead[later] = by_hop[track[later], hop[later] - 1, -_MEMORY:]
        after_gap = ~np.where(leads, self._tail_valid[track, 0], hops.valid[track, hop - 1])
        at_once = max(1, _STEPS_AT_ONCE * _STEP // length)
        for first in range(0, len(track), at_once):
            part = slice(first, first + at_once)
            rows = by_hop[track[part], hop[part]]
            peaks = self._row_peaks(rows, lead[part], after_gap[part])
            np.maximum.at(self._max, track[part], peaks)

    def _row_peaks(self, rows: Samples, lead: Samples, after_gap: Flags) -> Levels:
        """Largest interpolated magnitude of each row of samples, led by 11 earlier ones."""
        number, length = rows.shape
        steps = -(-length // _STEP)
        pieces = np.zeros((number, steps, _MEMORY + _STEP), dtype=np.float32)
        if steps * _STEP > length:
            rows = np.pad(rows, ((0, 0), (0, steps * _STEP - length)))
        samples = rows.reshape(number, steps, _STEP)
        pieces[:, :, _MEMORY:] = samples
        pieces[:, 1:, :_MEMORY] = samples[:, :-1, -_MEMORY:]
        pieces[:, 0, :_MEMORY] = lead
        # One small product a row: a large one would wake the BLAS library's own threads, which
        # costs more processor time than it saves and fights the rest of the watch for cores.
        values = (pieces @ self._matrix).reshape(number, -1)[:, : length * len(PHASES)]
        if after_gap.any():
            values[after_gap, : _MEMORY * len(PHASES)] = 0.0
        peaks = np.maximum(values.max(axis=1), -values.min(axis=1))
        return np.asarray(peaks, dtype=np.float64)

    @property
    def max_dbtp(self) -> Levels:
        """Largest true peak so far, dBTP; NaN where nothing was measured."""
        return np.where(self._measured, amplitude_db(self._max), np.nan)


def _toeplitz() -> Samples:
    """Matrix (11 + 16, 16 * 4): 27 samples in a row to the 64 values between the last 16."""
    phases, taps = PHASES.shape
    matrix = np.zeros((_STEP + _MEMORY, _STEP, phases), dtype=np.float32)
    for sample in range(_STEP):
        matrix[sample : sample + taps, sample] = PHASES[:, ::-1].T
    return matrix.reshape(_STEP + _MEMORY, -1)
