"""Read a track from the ring at another rate, exactly and without state."""

from __future__ import annotations

from math import ceil, gcd
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.listen.ring import Ring

ZEROS: Final = 24
"""Zero crossings of the sinc on each side: 0.1 dB flat to 0.9 of the band (tested)."""
_KAISER_BETA: Final = 8.0


class Reader:
    """Gives frames at the output's rate; places are counted in steps of 1/`up` ring frame.

    up : steps in a ring frame
    down : steps in an output frame
    """

    def __init__(self, ring: Ring, rate_hz: int) -> None:
        common = gcd(ring.sample_rate_hz, rate_hz)
        self.up, self.down = rate_hz // common, ring.sample_rate_hz // common
        self._half = 0 if self.up == self.down else ceil(ZEROS * max(1.0, self.down / self.up))
        self._table = _kernels(self.up, self.down, self._half) if self._half else None

    @property
    def ahead(self) -> int:
        """Ring frames that are read past the last place."""
        return self._half

    def read(self, ring: Ring, track: int, place: int, count: int) -> NDArray[np.float32]:
        """That many output frames from that place on, shape (count,)."""
        if self._table is None:
            return ring.read(track, place // self.up, count)
        steps = place + self.down * np.arange(count, dtype=np.int64)
        frames, phases = np.divmod(steps, self.up)
        start = int(frames[0]) - self._half + 1 if count else 0
        around = ring.read(
            track, start, int(frames[-1] - frames[0]) + 2 * self._half if count else 0
        )
        windows = np.lib.stride_tricks.sliding_window_view(around, 2 * self._half)
        out = np.einsum("nt,nt->n", windows[frames - frames[0]], self._table[phases])
        return np.asarray(out, dtype=np.float32)


def _kernels(up: int, down: int, half: int) -> NDArray[np.float64]:
    """A windowed sinc for each phase, shape (up, 2 half), each with a gain of one at 0 Hz."""
    taps = np.arange(1 - half, half + 1)
    x = taps[None, :] - np.arange(up)[:, None] / up
    cutoff = min(1.0, up / down)
    inside = np.sqrt(np.maximum(1.0 - (x / half) ** 2, 0.0))
    kernels = cutoff * np.sinc(cutoff * x) * np.i0(_KAISER_BETA * inside) / np.i0(_KAISER_BETA)
    return np.asarray(kernels / kernels.sum(axis=1, keepdims=True))
