"""K-weighted loudness of every track as a one-channel stream: momentary, short-term, integrated.

Source: ITU-R BS.1770-5 Annex 1 (weight 1, no dual-mono offset: a 997 Hz sine at 0 dBFS reads
-3.01 LUFS); EBU Tech 3341 (momentary 400 ms, short-term 3 s).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import Hops
from engine.measure.sos_filter import SosFilter
from engine.measure.windows import HopWindows
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import FLOOR_DB, hop_frames, power_db

OFFSET_LU: Final = -0.691
"""Cancels the K filter's gain at 997 Hz. BS.1770-5 Annex 1, equation 2."""

MOMENTARY_HOPS: Final = 40
SHORT_TERM_HOPS: Final = 300

_WAITING_BLOCKS: Final = 64


def k_weighting(sample_rate_hz: float) -> Levels:
    """The K filter as second-order sections, shape (2, 6): shelf, then high-pass.

    BS.1770-5 Annex 1 tables its coefficients for 48 kHz only and asks for the same frequency
    response at other rates. The analogue values are those published with libebur128 and
    pyloudnorm; at 48 kHz they reproduce the tables to 1e-14. The table's high-pass passes 0.04 dB
    more than unity; other rates are scaled to pass as much (up to 0.03 dB in question).
    """
    k = math.tan(math.pi * 1681.974450955533 / sample_rate_hz)
    q = 0.7071752369554196
    high = 10.0 ** (3.999843853973347 / 20.0)
    band = high**0.4996667741545416
    a0 = 1.0 + k / q + k * k
    shelf = (
        (high + band * k / q + k * k) / a0,
        2.0 * (k * k - high) / a0,
        (high - band * k / q + k * k) / a0,
        1.0,
        2.0 * (k * k - 1.0) / a0,
        (1.0 - k / q + k * k) / a0,
    )
    k, a0 = _high_pass_terms(sample_rate_hz)
    gain = _high_pass_terms(48_000.0)[1] / a0
    a1, a2 = 2.0 * (k * k - 1.0) / a0, (1.0 - k / _HIGH_PASS_Q + k * k) / a0
    return np.array([shelf, (gain, -2.0 * gain, gain, 1.0, a1, a2)])


_HIGH_PASS_Q: Final = 0.5003270373238773


def _high_pass_terms(sample_rate_hz: float) -> tuple[float, float]:
    """K and a0 of the bilinear transform; with the numerator 1, -2, 1 the passband gain is a0."""
    k = math.tan(math.pi * 38.13547087602444 / sample_rate_hz)
    return k, 1.0 + k / _HIGH_PASS_Q + k * k


def lufs(mean_square: Levels) -> Levels:
    """Loudness of a K-weighted mean square, clamped to `FLOOR_DB`; NaN stays NaN."""
    return np.maximum(power_db(mean_square) + OFFSET_LU, FLOOR_DB)


class Loudness(TrackMemory):
    """Momentary, short-term and integrated loudness of every track since the start.

    Both windows step by one hop (10 ms), so the maxima hold for any place of the sound in time
    (EBU Tech 3341 case 13). Gating blocks are 400 ms, one each 100 ms.

    Parameters
    ----------
    tracks : int
    sample_rate_hz : int
    hops_per_tick : int
        Hops come by the tick: so many or fewer at once, or several whole ticks.

    Attributes
    ----------
    momentary_lufs, short_term_lufs : ndarray, shape (ticks, tracks)
        At the end of each of the newest ticks; NaN until the window is full.
    """

    _weight: SosFilter = remembered(By.PART, lambda d: d._filter())
    _windows: HopWindows = remembered(
        By.PART,
        lambda d: HopWindows(d._tracks, (MOMENTARY_HOPS, SHORT_TERM_HOPS), d._hops_per_tick),
    )
    _gated: GatedLoudness = remembered(By.PART, lambda d: GatedLoudness(d._tracks))
    _momentary_max: Levels = per_track(np.nan)
    _short_term_max: Levels = per_track(np.nan)
    momentary_lufs: Levels = per_track(np.nan, rows=1)
    short_term_lufs: Levels = per_track(np.nan, rows=1)

    def __init__(self, tracks: int, sample_rate_hz: int, hops_per_tick: int) -> None:
        self._tracks, self._rate_hz = tracks, sample_rate_hz
        self._hops_per_tick = hops_per_tick
        self.reset()

    def _filter(self) -> SosFilter:
        sos, frames = k_weighting(self._rate_hz), hop_frames(self._rate_hz)
        return SosFilter(sos, self._tracks, frames, self._hops_per_tick, np.float32)

    def update(self, hops: Hops) -> None:
        """Take in whole hops; fewer hops than a tick end no gating block."""
        energy = np.empty(hops.valid.shape, dtype=np.float32)
        for which, weighted in self._weight.some_rows(hops.channels, hops.ticks):
            by_hop = weighted.reshape(len(weighted), -1, hops.hop_frames)
            np.vecdot(by_hop, by_hop, out=energy[which])
        mean_square = energy.astype(np.float64) / hops.hop_frames
        newest = mean_square.shape[1]
        self._windows.push(mean_square, hops.valid, hops.all_valid)
        momentary = self._windows.means(MOMENTARY_HOPS, newest)
        short_term = self._windows.means(SHORT_TERM_HOPS, newest)
        # fmax passes over NaN, so an unfilled window never becomes a maximum.
        np.fmax(self._momentary_max, np.fmax.reduce(momentary, axis=1), out=self._momentary_max)
        np.fmax(self._short_term_max, np.fmax.reduce(short_term, axis=1), out=self._short_term_max)
        ends = np.ascontiguousarray(hops.by_tick(momentary)[:, :, -1].T)
        self.momentary_lufs = lufs(ends)
        self.short_term_lufs = lufs(hops.by_tick(short_term)[:, :, -1].T)
        if newest == hops.ticks * self._hops_per_tick:
            for block in ends:
                self._gated.update(block)

    @property
    def momentary_max_lufs(self) -> Levels:
        """Largest momentary loudness so far; NaN before the first full window."""
        return lufs(self._momentary_max)

    @property
    def short_term_max_lufs(self) -> Levels:
        """Largest short-term loudness so far; NaN before the first full window."""
        return lufs(self._short_term_max)

    @property
    def integrated_lufs(self) -> Levels:
        """Gated loudness so far; NaN before the first block, `FLOOR_DB` if none passed a gate."""
        return self._gated.integrated_lufs


class GateHistogram(TrackMemory):
    """Gating blocks above the absolute gate, counted by loudness in classes of equal width.

    Each class has the exact sum of its energies, so only which side of the relative gate the
    blocks of one class fall is rounded. Source: BS.1770-5 Annex 1 (absolute gate -70 LKFS,
    relative gate -10 LU).

    Parameters
    ----------
    tracks : int
    classes_per_lu : int
        So many classes share one LU.

    Attributes
    ----------
    count : ndarray of uint32, shape (tracks, classes)
    energy : ndarray, shape (tracks, classes)
        Sum of the blocks' K-weighted mean squares.
    """

    ABSOLUTE_GATE_LUFS: Final = -70.0
    RELATIVE_GATE: Final = 0.1
    TOP_LUFS: Final = 30.0
    """Louder blocks share the highest class; ours, 30 dB over full scale."""

    count: NDArray[np.uint32] = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, d._classes), dtype=np.uint32)
    )
    energy: Levels = remembered(By.FIRST, lambda d: np.zeros((d._tracks, d._classes)))

    def __init__(self, tracks: int, classes_per_lu: int) -> None:
        self._tracks, self.classes_per_lu = tracks, classes_per_lu
        self._classes = int((self.TOP_LUFS - self.ABSOLUTE_GATE_LUFS) * classes_per_lu)
        self.reset()

    def add(self, block_lufs: Levels, mean_square: Levels) -> None:
        """Take in gating blocks, both of shape (blocks, tracks); a NaN block counts for nothing."""
        above_gate = block_lufs - self.ABSOLUTE_GATE_LUFS
        block, track = np.nonzero(above_gate > 0.0)
        at = (above_gate[block, track] * self.classes_per_lu).astype(np.intp)
        at = np.minimum(at, self.count.shape[1] - 1)
        np.add.at(self.count, (track, at), 1)
        np.add.at(self.energy, (track, at), mean_square[block, track])

    def integrated_lufs(self) -> Levels:
        """Integrated loudness, shape (tracks,); `FLOOR_DB` where no block passed the gates."""
        mean = self.energy.sum(axis=1) / np.maximum(self.count.sum(axis=1), 1)
        passes = self.energy > (self.RELATIVE_GATE * mean)[:, None] * self.count
        total = np.where(passes, self.energy, 0.0).sum(axis=1)
        return lufs(total / np.maximum(np.where(passes, self.count, 0).sum(axis=1), 1))


class GatedLoudness(TrackMemory):
    """Two-gate integrated loudness in memory that does not grow, in classes 0.01 LU wide."""

    CLASSES_PER_LU: Final = 100

    _blocks: GateHistogram = remembered(
        By.PART, lambda d: GateHistogram(d._tracks, d.CLASSES_PER_LU)
    )
    _measured: Flags = per_track(False)
    # Blocks wait here to be sorted many at a time, which costs a tenth.
    _waiting: Levels = per_track(np.nan, rows=_WAITING_BLOCKS)
    _waits: int = remembered(By.WHOLE, 0)

    def __init__(self, tracks: int) -> None:
        """Start with no block of that many tracks."""
        self._tracks = tracks
        self.reset()

    def update(self, mean_square: Levels) -> None:
        """Take in one gating block a track, shape (tracks,); a NaN block counts for nothing."""
        self._waiting[self._waits] = mean_square
        self._waits += 1
        if self._waits == len(self._waiting):
            self._sort()

    def _sort(self) -> None:
        powers = self._waiting[: self._waits]
        self._waits = 0
        self._measured |= ~np.isnan(powers).all(axis=0)
        self._blocks.add(lufs(powers), powers)

    @property
    def integrated_lufs(self) -> Levels:
        """Integrated loudness, shape (tracks,)."""
        self._sort()
        return np.where(self._measured, self._blocks.integrated_lufs(), np.nan)
