"""Lines of a short spectrum: what stands out of its neighbours, with frequency and level.

Under a Hann window a sine fills a main lobe of four bins, and the ratio of its two highest bins
says between which of them it lies (F. J. Harris, Proc. IEEE 66(1), 51-83, 1978).
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from engine.model.messages import Levels, Samples

LOBE_BINS: Final = 3
"""Bins on each side of a line that hold its power under a Hann window."""
HIGHEST_HZ: Final = 16_000.0
"""Few adults hear more (common practice, no source)."""
_FAINTEST_POWER: Final = 1e-14


class SpectralLines:
    """Finds lines in stretches of one length; it keeps their window."""

    def __init__(self, sample_rate_hz: int, *, contrast: float, beside_bins: int) -> None:
        """Prepare for sound of that rate.

        Parameters
        ----------
        sample_rate_hz : int
            Hz.
        contrast : float
            A line has at least this many times the mean power beside it.
        beside_bins : int
            Neighbours that it is held against, to each side; none is found under that many bins.
        """
        self._rate_hz = sample_rate_hz
        self._contrast, self._beside = contrast, beside_bins
        self._window: Samples = np.zeros(0, dtype=np.float32)

    def find(self, x: Samples) -> list[tuple[Levels, Levels]]:
        """Frequency, Hz, and AES17 level, dBFS, of each line of each row, arrays of shape (lines,).

        `x` has shape (rows, frames).
        """
        rows, size = x.shape
        if len(self._window) != size:
            window = np.hanning(size + 2)[1:-1]
            self._window = (2.0 * window / window.sum()).astype(np.float32)
        spectrum = np.fft.rfft(x * self._window)[:, : round(HIGHEST_HZ * size / self._rate_hz)]
        power, other = spectrum.real.astype(np.float64), spectrum.imag.astype(np.float64)
        power *= power
        other *= other
        power += other
        bins = power.shape[1]
        total = np.zeros((rows, bins + 1))
        np.cumsum(power, axis=1, out=total[:, 1:])
        first, end = self._beside, bins - self._beside - 1
        beside = total[:, first + self._beside + 1 : bins] - total[:, : end - self._beside]
        lobe = total[:, first + LOBE_BINS + 1 : end + LOBE_BINS + 1]
        lobe = lobe - total[:, first - LOBE_BINS : end - LOBE_BINS]
        beside -= lobe
        beside /= 2.0 * (self._beside - LOBE_BINS)
        beside *= self._contrast
        here = power[:, first:end]
        line = (here > beside) & (here > _FAINTEST_POWER)
        line &= here >= power[:, first - 1 : end - 1]
        line &= here > power[:, first + 1 : end + 1]
        row, at = np.nonzero(line)
        low, middle, high = (np.sqrt(power[row, first + at + n]) for n in (-1, 0, 1))
        # Of a Hann window, exact for a sine: the ratio of the two highest bins.
        most, sign = np.maximum(low, high), np.where(high >= low, 1.0, -1.0)
        places = first + at + sign * (2.0 * most - middle) / (most + middle)
        hz = places * self._rate_hz / size
        # The lobe holds 1.5 times the line's own power (the window's noise bandwidth).
        level_dbfs = 10.0 * np.log10(lobe[row, at] / 1.5)
        ends = np.searchsorted(row, np.arange(1, rows + 1)).tolist()
        return [(hz[start:end], level_dbfs[start:end]) for start, end in pairwise([0, *ends])]
