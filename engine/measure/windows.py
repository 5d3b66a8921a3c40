"""Sliding means over the newest hops, summed afresh each time so that nothing can drift."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import count_of
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By

MOST_TICKS: Final = 64
"""So many ticks come at once at most; as many fit before what is kept moves to the front."""


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
        Hops come by the tick: so many or fewer at once, or up to `MOST_TICKS` whole ticks.
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
        self._hops_per_tick = hops_per_tick
        self._depth = max(lengths) + hops_per_tick
        self._columns = self._depth + MOST_TICKS * hops_per_tick
        self.reset()
        self._bands = {length: _band(length, hops_per_tick) for length in lengths}

    def push(self, mean_square: Levels, valid: Flags, all_valid: bool) -> None:
        """Take in some hops, both arrays of shape (tracks, hops)."""
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

    def latest(self, length: int, ticks: int = 1) -> Levels:
        """Mean over the `length` hops up to the end of each newest tick, shape (ticks, tracks)."""
        sums = self._stretches(self._energy, length, ticks).sum(axis=2)
        if self._unbroken >= length + (ticks - 1) * self._hops_per_tick:
            return np.ascontiguousarray((sums / length).T)
        valid = self._stretches(self._valid, length, ticks)
        count = count_of(valid, axis=2)
        seen = self._seen + self._hops_per_tick * np.arange(1 - ticks, 1)
        known = (count >= self._enough * length) & (seen >= length)
        return np.ascontiguousarray(np.where(known, sums / np.maximum(count, 1), np.nan).T)

    def means(self, length: int, newest: int) -> Levels:
        """Mean over the `length` hops up to each of the `newest` hops, shape (tracks, newest)."""
        step = min(newest, self._hops_per_tick)
        ticks, reach = newest // step, length - 1 + step
        band = self._bands[length][:reach, :step]
        # One small product a track and tick, so that the BLAS library never wakes threads of its
        # own, and that the sums are the same however many ticks come at once.
        energy = self._stretches(self._energy, reach, ticks)
        sums = (energy[:, :, None] @ band).reshape(-1, newest)
        if self._unbroken >= length + newest - 1:
            return np.asarray(sums / length)
        valid = self._stretches(self._valid, reach, ticks).astype(np.float64)
        count = (valid[:, :, None] @ band).reshape(-1, newest)
        full = self._seen - newest + 1 + np.arange(newest) >= length
        known = (count >= self._enough * length) & full
        return np.where(known, sums / np.maximum(count, 1.0), np.nan)

    def _stretches(self, store: NDArray[Any], reach: int, ticks: int) -> NDArray[Any]:
        """The `reach` hops up to the end of each of the newest ticks, (tracks, ticks, reach)."""
        step = self._hops_per_tick
        first = self._end - (ticks - 1) * step - reach
        row, item = store.strides
        return np.ndarray(
            (len(store), ticks, reach), store.dtype, store, first * item, (row, step * item, item)
        )


def _band(length: int, newest: int) -> Levels:
    """0/1 matrix that turns a row of hops into the sums of `newest` successive windows."""
    row = np.arange(length - 1 + newest)[:, None]
    column = np.arange(newest)[None, :]
    return ((row >= column) & (row < column + length)).astype(np.float64)
