"""Sample peak, mean square and DC of every hop, and what of a hop counts at all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import count_of
from engine.model.messages import Flags, Levels, Samples
from engine.model.track_memory import TrackMemory, per_track
from engine.model.units import amplitude_db, rms_dbfs

HOPS_PER_TICK: Final = 10

_FRAMES_AT_ONCE: Final = 2**17
"""Of all tracks together, in double precision 1 MB: more leaves the cache of one core."""

NO_NUMBER: Final = np.float32(1e6)
"""120 dB over full scale: a float sample this large is a bit error, treated like an infinity."""


@dataclass(frozen=True, slots=True, eq=False)
class Hops:
    """One run of hops, channel-major; sums are over the hop's frames, not means.

    ticks : so many ticks, all as long, are in it
    channels : (tracks, frames) float32, contiguous along frames, what was no number set to zero
    peak_max, peak_min : (tracks, hops) float64, signed extremes
    peak_at : (tracks, hops) the frame of its hop in which the highest sample lies
    peak : (tracks, hops) float64, absolute sample peak, 0 where the hop does not count
    squares, sums : (tracks, hops) float64
    valid : (tracks, hops) False where a frame was lost or was no number
    all_valid : every hop of every track counts
    lost : (tracks, hops) samples that were no numbers
    """

    hop_frames: int
    ticks: int
    channels: Samples
    peak_max: Levels
    peak_min: Levels
    peak_at: NDArray[np.int64]
    peak: Levels
    squares: Levels
    sums: Levels
    valid: Flags
    all_valid: bool
    lost: NDArray[np.int64]

    def by_tick(self, hops: NDArray[Any]) -> NDArray[Any]:
        """An array of shape (tracks, hops, ...) as (tracks, ticks, hops of a tick, ...)."""
        return hops.reshape(len(hops), self.ticks, -1, *hops.shape[2:])


def measure_hops(
    samples: Samples, hop_frames: int, missing: Flags | None = None, ticks: int = 1
) -> Hops:
    """Peaks, energies and validity of whole hops.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames, tracks), any memory layout
        `frames` is a multiple of `hop_frames`. Not altered; the result may share its memory.
    hop_frames : int
        At least 1.
    missing : ndarray of bool, shape (frames,) or (tracks, frames), optional
        True where frames were lost, on every track or on that one.
    ticks : int
        So many ticks they are.
    """
    channels = np.asarray(samples.T, dtype=np.float32)
    if channels.strides[1] != channels.itemsize:
        channels = np.ascontiguousarray(channels)
    high, low, peak_at = _extremes(channels, hop_frames)
    # A NaN fails both comparisons, so the extremes alone tell whether all samples are numbers.
    valid = (high < NO_NUMBER) & (low > -NO_NUMBER)
    lost = np.zeros(valid.shape, dtype=np.int64)
    all_valid = bool(valid.all())
    if not all_valid:
        number = np.abs(channels) < NO_NUMBER
        lost = count_of(~number.reshape(*valid.shape, hop_frames), axis=2)
        channels = np.where(number, channels, np.float32(0.0))
        high, low, peak_at = _extremes(channels, hop_frames)
    if missing is not None and missing.any():
        valid &= ~missing.reshape(*missing.shape[:-1], -1, hop_frames).any(axis=-1)
        all_valid = False
    squares, sums = _sums(channels, hop_frames)
    return Hops(
        hop_frames=hop_frames,
        ticks=ticks,
        channels=channels,
        peak_max=high,
        peak_min=low,
        peak_at=peak_at,
        peak=np.maximum(high, -low) * valid,
        squares=squares,
        sums=sums,
        valid=valid,
        all_valid=all_valid,
        lost=lost,
    )


def some_rows(channels: Samples | Levels) -> Iterator[slice]:
    """So many rows of sound, shape (tracks, frames), at a time that what is made of them stays in
    the cache; each row by itself is the same however many come together."""
    tracks, frames = channels.shape
    at_once = max(1, _FRAMES_AT_ONCE // max(frames, 1))
    return (slice(first, first + at_once) for first in range(0, tracks, at_once))


def _sums(channels: Samples, hop_frames: int) -> tuple[Levels, Levels]:
    """Sums of the squares, and of the samples, of each hop, in double precision."""
    tracks, frames = channels.shape
    squares, sums = np.empty((2, tracks, frames // hop_frames))
    ones = np.ones(hop_frames)
    for which in some_rows(channels):
        by_hop = channels[which].astype(np.float64).reshape(*squares[which].shape, -1)
        np.vecdot(by_hop, by_hop, out=squares[which])
        np.vecdot(by_hop, ones, out=sums[which])
    return squares, sums


def _extremes(channels: Samples, hop_frames: int) -> tuple[Levels, Levels, NDArray[np.int64]]:
    """Highest and lowest sample of each hop, and where in it the highest lies."""
    by_hop = channels.reshape(len(channels), -1, hop_frames)
    # By their places, which numpy finds in half the time; of NaN the first is the highest.
    first = np.arange(0, by_hop.size, hop_frames).reshape(by_hop.shape[:2])
    peak_at = by_hop.argmax(axis=-1)
    high, low = by_hop.take(first + peak_at), by_hop.take(first + by_hop.argmin(axis=-1))
    with np.errstate(invalid="ignore"):  # a spoiled file may hold NaNs that signal
        return high.astype(np.float64), low.astype(np.float64), peak_at


class LevelTotals(TrackMemory):
    """Sample peak, RMS and DC of every track since the start.

    Sums only ever grow by one tick's worth, so over 12 hours rounding stays under 1e-9.
    """

    _peak: Levels = per_track(0.0)
    _squares: Levels = per_track(0.0)
    _sums: Levels = per_track(0.0)
    _frames: Levels = per_track(0.0)

    def __init__(self, tracks: int) -> None:
        """Start with nothing measured of that many tracks."""
        self._tracks = tracks
        self.reset()

    def update(self, hops: Hops) -> None:
        """Count one run of hops in; those that are not valid count for nothing."""
        np.maximum(self._peak, hops.peak.max(axis=1), out=self._peak)
        squares, sums = hops.squares, hops.sums
        if not hops.all_valid:
            squares, sums = squares * hops.valid, sums * hops.valid
        squares, sums = hops.by_tick(squares).sum(axis=2), hops.by_tick(sums).sum(axis=2)
        for tick in range(
            hops.ticks
        ):  # one by one: the same bit for bit, however many come at once
            self._squares += squares[:, tick]
            self._sums += sums[:, tick]
        self._frames += hops.hop_frames * count_of(hops.valid, axis=1)

    @property
    def sample_peak_dbfs(self) -> Levels:
        """Largest absolute sample, dBFS; NaN where nothing was measured."""
        return self._where_measured(amplitude_db(self._peak))

    @property
    def rms_dbfs(self) -> Levels:
        """RMS as AES17 has it (a full-scale sine reads 0 dBFS); NaN where nothing was measured."""
        return self._where_measured(rms_dbfs(self._squares / np.maximum(self._frames, 1.0)))

    @property
    def dc_offset(self) -> Levels:
        """Mean of the samples, full scale 1.0; NaN where nothing was measured."""
        return self._where_measured(self._sums / np.maximum(self._frames, 1.0))

    def _where_measured(self, values: Levels) -> Levels:
        return np.where(self._frames > 0, values, np.nan)
