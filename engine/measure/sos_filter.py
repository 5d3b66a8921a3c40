"""Recursive filters over all tracks at once, as small matrix products over blocks of samples.

A filter of second-order sections is a linear system: state' = A·state + B·x, y = C·state + D·x.
Over a block of samples its output is one matrix times the samples and the state before them, and
the states between blocks follow each other the same way, so no sample waits for the one before:
at 48 kHz this takes half the time of a loop over samples, and loads no library of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import some_rows
from engine.model.messages import Levels, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.units import nearest_divisor

_BLOCK: Final = 24
"""Samples a block: 24 ran fastest of 12 to 48. The products of one track stay so small that the
BLAS library wakes no threads of its own."""

_SETTLED: Final = 1e-60
"""A filter state below this is set to zero before it decays into slow denormal numbers."""

_DOUBLINGS: Final = 40
"""Sums the response to 2^40 samples: for every filter that settles within days."""

_Exact = NDArray[np.floating[Any]]


class SosFilter(TrackMemory):
    """A cascade of second-order sections for every track, with its state, over whole hops.

    Parameters
    ----------
    sos : ndarray, shape (sections, 6)
        b0, b1, b2, a0, a1, a2 of each section, a0 being 1.
    tracks, hop_frames, hops : int
        At most `hops` hops come at once, or several ticks of so many.
    dtype : float64, or float32 at half the cost
        What the output is made in; float32 leaves noise 130 dB under the sound. What lasts from
        block to block is float64 either way, so errors never add up.
    """

    _state: Levels = remembered(By.FIRST, lambda d: np.zeros((d._tracks, d._order)))

    def __init__(
        self,
        sos: Levels,
        tracks: int,
        hop_frames: int,
        hops: int,
        dtype: type[np.float32] | type[np.float64] = np.float64,
    ) -> None:
        a, b, c, d = _system(sos)
        order = len(a)
        block = nearest_divisor(hop_frames, _BLOCK)
        blocks = hop_frames // block
        group = nearest_divisor(blocks, round(math.sqrt(blocks * hops)))
        self._block, self._group, self._hop_frames = block, group, hop_frames
        powers = _powers(a, block)
        self._in: NDArray[Any] = np.array(
            [powers[block - 1 - n] @ b for n in range(block)], dtype=dtype
        )
        response = [d, *(c @ powers[n] @ b for n in range(block - 1))]
        self._out: NDArray[Any] = np.zeros((block + order, block), dtype=dtype)
        for n in range(block):
            self._out[n, n:block] = response[: block - n]
            self._out[block:, n] = c @ powers[n]
        self._in_group = _scan(powers[block], group)
        groups = hops * blocks // group
        self._between = _scan(_powers(powers[block], group)[group], groups)
        self._most_frames = hops * hop_frames
        self._tracks, self._order, self._dtype = tracks, order, dtype
        self._work: NDArray[Any] = np.empty((0, 0, 0, block + order), dtype=dtype)
        self._made: NDArray[Any] = np.empty((0, 0, 0, block), dtype=dtype)
        self.reset()

    def __call__(self, samples: Samples | Levels, ticks: int = 1) -> NDArray[Any]:
        """The filtered sound, shape (tracks, frames) like the samples.

        The samples are `ticks` stretches of one length; each is filtered by products of the same
        shape, so that the result is the same bit for bit however many come at once.

        Raises
        ------
        ValueError
            If the samples are no whole number of hops, or more than fit.
        """
        filtered = np.empty(samples.shape, dtype=self._dtype)
        for which, made in self.some_rows(samples, ticks):
            filtered[which] = made
        return filtered

    def some_rows(
        self, samples: Samples | Levels, ticks: int = 1
    ) -> Iterator[tuple[slice, NDArray[Any]]]:
        """The same, so many tracks at a time that what is made of them stays in the cache; to the
        end, and each part valid until the next."""
        tracks, frames = samples.shape
        if frames % (ticks * self._hop_frames) or frames > ticks * self._most_frames:
            raise ValueError(
                f"{frames} frames are not whole hops of {self._hop_frames}, or too many"
            )
        block, count, order = self._block, frames // (ticks * self._block), self._order
        sound = samples.reshape(tracks, ticks, count, block).astype(self._dtype, copy=False)
        pushes = (sound @ self._in).astype(np.float64, copy=False)
        states = self._states(pushes.reshape(tracks, ticks, -1, self._group * order))
        states = states.reshape(tracks, ticks, count, order)
        for which in some_rows(samples):
            work, made = self._room(sound[which].shape)
            work[..., :block], work[..., block:] = sound[which], states[which]
            np.matmul(work, self._out, out=made)
            yield which, made.reshape(len(made), frames)

    def _room(self, shape: tuple[int, ...]) -> tuple[NDArray[Any], NDArray[Any]]:
        """Room for blocks with the states before them, and for what is made of these, of so many
        tracks, ticks, blocks and samples; the same as before where that is enough."""
        if self._work.shape[1:3] != shape[1:3] or len(self._work) < shape[0]:
            self._work = np.empty((*shape[:3], self._block + self._order), dtype=self._dtype)
            self._made = np.empty(shape, dtype=self._dtype)
        return self._work[: shape[0]], self._made[: shape[0]]

    def _states(self, pushes: Levels) -> Levels:
        """The state before each block, (tracks, ticks, groups, group · order); moves the state on.

        `pushes`, of the same shape, is what each block adds to a state that was zero before it.
        """
        tracks, ticks, groups, width = pushes.shape
        order = self._state.shape[1]
        within = pushes @ self._in_group[order:]
        ends = np.empty((ticks, tracks, (groups + 1) * order))
        ends[:, :, order:] = within[..., width:].swapaxes(0, 1).reshape(ticks, tracks, -1)
        between = self._between[: (groups + 1) * order, : (groups + 1) * order]
        starts = np.empty((tracks, ticks, groups, order))
        for tick in range(ticks):
            ends[tick, :, :order] = self._state
            made = ends[tick] @ between
            self._state = made[:, groups * order :].copy()
            self._state[np.abs(self._state) < _SETTLED] = 0.0
            starts[:, tick] = made[:, : groups * order].reshape(tracks, groups, order)
        states = within[..., :width]
        states += starts @ self._in_group[:order, :width]
        return states


def _system(sos: Levels) -> tuple[_Exact, _Exact, _Exact, np.floating[Any]]:
    """A, B, C and D of the cascade, reckoned as exactly as the machine can.

    As they stand the states of a low cut-off nearly cancel each other, which costs five digits; so
    they are turned into states that white noise drives equally and independently.
    """
    sos = np.asarray(sos, dtype=np.longdouble)
    order = 2 * len(sos)
    a, c = np.zeros((order, order), dtype=np.longdouble), np.zeros(order, dtype=np.longdouble)
    unit = np.eye(order, dtype=np.longdouble)
    for n in range(order):
        a[:, n], c[n] = _step(sos, unit[n], np.longdouble(0.0))
    b, d = _step(sos, np.zeros_like(c), np.longdouble(1.0))
    spread, power = np.outer(b, b), a
    for _ in range(_DOUBLINGS):
        spread, power = spread + power @ spread @ power.T, power @ power
    to = np.linalg.cholesky(spread.astype(np.float64))
    back = np.linalg.inv(to).astype(np.longdouble)
    back = back @ (2.0 * unit - to @ back)
    return back @ a @ to, back @ b, c @ to, d


def _step(sos: _Exact, state: _Exact, x: np.floating[Any]) -> tuple[_Exact, np.floating[Any]]:
    """One sample through the cascade in transposed direct form II: the state after it, and y."""
    after = np.zeros_like(state)
    for n, (b0, b1, b2, _, a1, a2) in enumerate(sos):
        y = b0 * x + state[2 * n]
        after[2 * n] = b1 * x - a1 * y + state[2 * n + 1]
        after[2 * n + 1] = b2 * x - a2 * y
        x = y
    return after, x


def _powers(a: _Exact, most: int) -> list[_Exact]:
    powers = [np.eye(len(a), dtype=np.longdouble)]
    for _ in range(most):
        powers.append(a @ powers[-1])
    return powers


def _scan(a: _Exact, steps: int) -> Levels:
    """Matrix from a first state and `steps` pushes in a row to the states before each, and after.

    Shape ((1 + steps) · order, (1 + steps) · order), for rows from the left.
    """
    order = len(a)
    powers = _powers(a, steps)
    matrix = np.zeros(((steps + 1) * order, (steps + 1) * order))
    for row in range(steps + 1):
        for column in range(row, steps + 1):
            span = (
                slice(row * order, (row + 1) * order),
                slice(column * order, (column + 1) * order),
            )
            matrix[span] = powers[column - row].T
    return matrix
