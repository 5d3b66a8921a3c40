"""Sliding means over the newest hops, summed afresh each time so that nothing can drift."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By

_SPARE_TICKS: Final = 64


class HopWindows(TrackMemory):
    """The newest hops' mean squares of every track, and means over windows ending at each hop.

    A hop that is not valid is left out of the mean. A mean is NaN until its window lies wholly
    inside the sound, and while less than `enough` of the window is valid.

    Parameters
    ----------
    tracks : int
    lengths : tuple of int
        Hops of each window that is asked for.
    hops_per_tick : int
        At most so many hops come at once.
    enough : float
        Share of a window's hops that must be valid; a mean over fewer would stand for too little.
    """

    _energy: Levels = remembered(By.FIRST, lambda d: np.zeros((d._tracks, d._columns)))
    _valid: Flags = remembered(By.FIRST, lambda d: np.zeros((d._tracks, d._columns), np.bool_))
    _end: int = remembered(By.WHOLE, lambda d: d._depth)
    _seen: int = remembered(By.WHOLE, 0)
    _unbroken: int = remembered(By.ANEW, 0)

    def __init__(
        self,
        tracks: int,
        lengths: tuple[int, ...],
        hops_per_tick: int,
        *,
        enough: float = 0.75,
    ) -> None:
        self._tracks, self._enough = tracks, enough
        self._depth = max(lengths) + hops_per_tick
        self._columns = self._depth + _SPARE_TICKS * hops_per_tick
        self.reset()
        self._bands = {length: _band(length, hops_per_tick) for length in lengths}

    def push(self, mean_square: Levels, valid: Flags, all_valid: bool) -> None:
        """Take in 1 to `hops_per_tick` hops, both arrays of shape (tracks, hops)."""
        count = mean_square.shape[1]
        if self._end + count > self._energy.shape[1]:
            self._rewind()
        span = slice(self._end, self._end + count)
        self._energy[:, span] = mean_square if all_valid else np.where(valid, mean_square, 0.0)
        self._valid[:, span] = valid
        self._end += count
        self._seen += count
        self._unbroken = self._unbroken + count if all_valid else 0

    def _rewind(self) -> None:
        kept = slice(self._end - self._depth, self._end)
        for store in (self._energy, self._valid):
            store[:, : self._depth] = store[:, kept].copy()
        self._end = self._depth

    def latest(self, length: int) -> Levels:
        """Mean over the newest `length` hops, shape (tracks,)."""
        span = slice(self._end - length, self._end)
        sums = self._energy[:, span].sum(axis=1)
        if self._unbroken >= length:
            return np.asarray(sums / length)
        count = np.count_nonzero(self._valid[:, span], axis=1)
        known = (count >= self._enough * length) & (self._seen >= length)
        return np.where(known, sums / np.maximum(count, 1), np.nan)

    def means(self, length: int, newest: int) -> Levels:
        """Mean over the `length` hops up to each of the `newest` hops, shape (tracks, newest)."""
        span = slice(self._end - newest - length + 1, self._end)
        band = self._bands[length][: length - 1 + newest, :newest]
        # One small product a track, so that the BLAS library never wakes threads of its own.
        sums = (self._energy[:, None, span] @ band)[:, 0]
        if self._unbroken >= length + newest - 1:
            return np.asarray(sums / length)
        count = (self._valid[:, None, span].astype(np.float64) @ band)[:, 0]
        full = self._seen - newest + 1 + np.arange(newest) >= length
        known = (count >= self._enough * length) & full
        return np.where(known, sums / np.maximum(count, 1.0), np.nan)


def _band(length: int, newest: int) -> Levels:
    """0/1 matrix that turns a row of hops into the sums of `newest` successive windows."""
    row = np.arange(length - 1 + newest)[:, None]
    column = np.arange(newest)[None, :]
    return ((row >= column) & (row < column + length)).astype(np.float64)
