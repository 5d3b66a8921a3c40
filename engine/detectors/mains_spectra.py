"""Short spectra of the slow sound, and what in them stands out at multiples of the mains."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Levels
from engine.model.units import fast_length

MAINS_HZ: Final = (50.0, 60.0)
GRID: Final = 0.012
"""Largest relative deviation of a grid: EN 50160's 1 % and a little for the measuring."""
GENERATOR: Final = 0.021
"""Largest relative deviation: EN 50160's 2 % off the grid, and a little for the measuring."""
WINDOW_S: Final = 1.5
HINT_LINES: Final = 6
STANDS_OUT: Final = 7.0
"""A line has at least this many times the mean power beside it (8.5 dB): of noise one bin in a
thousand does (exponential distribution, arithmetic)."""
ASIDE_HZ: Final = MAINS_HZ[0] / 4.0
"""It is held against the spectrum this far to each side: well within the way to the next line."""


class MainsSpectra:
    """Finds, in short spectra, what stands out at multiples of a mains frequency."""

    def __init__(self, rate_hz: float) -> None:
        """Prepare for sound of that rate.

        Parameters
        ----------
        rate_hz : float
            Hz. Rate of the slow sound, twice that of the spectra.
        """
        rate_hz /= 2.0
        frames = round(2.0 * WINDOW_S * rate_hz) // 2
        self._size = fast_length(round(frames * 1.33))
        self._window = np.hanning(frames + 2)[1:-1].astype(np.float32)
        self._bin_hz = rate_hz / self._size
        self._line = np.tile(np.arange(1, HINT_LINES + 1), len(MAINS_HZ))
        line_hz = np.outer(MAINS_HZ, np.arange(1, HINT_LINES + 1)).ravel()
        half_hz = np.maximum(GENERATOR * line_hz, self._bin_hz)
        self._first = np.round((line_hz - half_hz) / self._bin_hz).astype(np.int64)
        self._past = np.round((line_hz + half_hz) / self._bin_hz).astype(np.int64) + 1
        self._ranges = np.stack((self._first, self._past), axis=1).ravel()
        self._beside = np.stack([self._weights(*lh) for lh in zip(line_hz, half_hz, strict=True)]).T

    def _weights(self, line_hz: float, half_hz: float) -> NDArray[np.float32]:
        """Weights of the spectrum's bins that give the mean beside a line."""
        off_hz = np.abs(np.arange(self._size // 2 + 1) * self._bin_hz - line_hz)
        beside = (off_hz > half_hz + 2.0 / WINDOW_S) & (off_hz < half_hz + ASIDE_HZ)
        return np.asarray(beside / np.count_nonzero(beside), dtype=np.float32)

    def mains_hz(self, sound: NDArray[np.float32]) -> Levels:
        """Mains frequency suggested by each row of sound; NaN where no line stands out."""
        frames = len(self._window)
        halved = sound[:, 0 : 2 * frames : 2] + sound[:, 1 : 2 * frames : 2]
        # Zeros at its end from here: the transform takes half as long again to add them.
        padded = np.zeros((len(sound), self._size), dtype=np.float32)
        np.multiply(halved, self._window, out=padded[:, :frames])
        spectrum = np.fft.rfft(padded)
        power = spectrum.real**2 + spectrum.imag**2
        height = np.maximum.reduceat(power, self._ranges, axis=1)[:, ::2]
        out = height > np.float32(STANDS_OUT) * (power @ self._beside)
        hz = np.full(len(sound), np.nan)
        if not any_of(out):
            return hz
        best = np.argmax(np.where(out, height, 0.0), axis=1)
        for row in indices(out.any(axis=1)):
            line = best[row]
            first = self._first[line]
            at = int(first + np.argmax(power[row, first : self._past[line]]))
            hz[row] = _peak(power[row, at - 1 : at + 2], at) * self._bin_hz / self._line[line]
        return hz


def is_mains(lines: Sequence[int], off: float) -> bool:
    """Whether those multiples of a frequency that far from nominal are a hum, and no music."""
    if off > GRID:
        return off <= GENERATOR and len(lines) >= 3 and lines[0] == 1
    return len(lines) > 0 and lines[0] <= (2 if len(lines) == 1 else 3)


@lru_cache(8)
def taper(length: int) -> NDArray[np.float64]:
    """A Hann window of that length, scaled so that a sine gives its amplitude."""
    window = np.hanning(length + 2)[1:-1]
    scaled = np.asarray(2.0 * window / window.sum())
    scaled.setflags(write=False)
    return scaled


def _peak(power: NDArray[np.floating], at: int) -> float:
    """Where the parabola through three log powers round bin `at` peaks, in bins."""
    low, middle, high = np.log(power.astype(np.float64) + 1e-30)
    bend = low - 2.0 * middle + high
    return at if bend >= 0.0 else at + min(max(0.5 * float(low - high) / float(bend), -0.5), 0.5)
