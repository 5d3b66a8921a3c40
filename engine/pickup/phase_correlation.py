"""Time difference of one voice on two tracks: generalised cross-correlation with phase transform.

C. H. Knapp and G. C. Carter, "The generalized correlation method for estimation of time delay",
IEEE Trans. Acoustics, Speech, Signal Proc. 24(4), 320-327, 1976. Each frequency counts by its phase
alone, so a room's colouring does not move the peak.

For sounds that have nothing to do with each other the phases are independent and even, and the
correlation at one lag is a mean of N random cosines: normal, with variance 1/(2N). The chance that
any of L lags passes p is about L exp(-N p^2); `least_peak` turns that around.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples

LOW_HZ: Final = 120.0
HIGH_SHARE: Final = 0.45
"""Voices begin there; the band ends a little under half the rate."""

_FINER: Final = 2
"""The correlation is drawn that much finer than samples, before the peak is interpolated."""


@dataclass(frozen=True, slots=True, eq=False)
class Peaks:
    """Where each track follows the reference; arrays of shape (tracks,).

    height : of the correlation's peak, 1 for the same sound later or earlier
    delay_s : of the track against the reference, s
    """

    height: NDArray[np.float64]
    delay_s: NDArray[np.float64]


class PhaseCorrelation:
    """Compares windows of that many samples at that rate.

    Parameters
    ----------
    rate_hz : float
    frames : int
        Samples of a window.
    earliest_s, latest_s : float
        Delays that are looked at, s.
    """

    def __init__(
        self, rate_hz: float, frames: int, earliest_s: float = -0.02, latest_s: float = 0.08
    ) -> None:
        self.rate_hz = rate_hz
        # What wraps around must not reach the delays that are looked at.
        most = max(abs(earliest_s), abs(latest_s))
        self._size = _fast_length(frames + 2 * round(most * rate_hz))
        self._window = np.hanning(frames).astype(np.float32)
        hz = np.fft.rfftfreq(self._size, 1.0 / rate_hz)
        self._band = (hz >= LOW_HZ) & (hz <= HIGH_SHARE * rate_hz)
        # The window of `frames` samples holds that many independent frequencies, not those of the
        # padded transform; Hann's main lobe halves them (Harris 1978: equivalent noise 1.5 bins).
        self._free = np.count_nonzero(self._band) * frames / self._size / 1.5
        fine = rate_hz * _FINER
        self._lags = np.arange(round(earliest_s * fine), round(latest_s * fine) + 1)

    def least_peak(self, chance: float) -> float:
        """Height that unrelated sounds pass with that chance in a window."""
        lags = len(self._lags) / _FINER
        return float(np.sqrt(np.log(lags / chance) / self._free))

    def spectra(self, sound: Samples) -> NDArray[np.complex64]:
        """Spectra for `peaks`; `sound` has shape (tracks, frames)."""
        return np.asarray(np.fft.rfft(sound * self._window, self._size), dtype=np.complex64)

    def peaks(self, spectra: NDArray[np.complex64], reference: int) -> Peaks:
        """Of every track against the reference track of that index."""
        cross = spectra * spectra[reference].conj()
        size = np.abs(cross)
        cross = np.where(self._band & (size > 0.0), cross / np.maximum(size, 1e-30), 0.0)
        fine = np.fft.irfft(cross, self._size * _FINER)
        scale = self._size * _FINER / (2.0 * np.count_nonzero(self._band))
        near = fine[:, self._lags] * scale
        best = np.argmax(near, axis=1)
        height = np.take_along_axis(near, best[:, None], axis=1)[:, 0]
        delay = self._lags[best] + _vertex(near, best)
        return Peaks(height, delay / (self.rate_hz * _FINER))


def _fast_length(least: int) -> int:
    """The next length of the form 2^a 3^b, which transforms quickly."""
    powers: list[int] = [2**a * 3**b for a in range(2, 24) for b in range(6)]
    return min(length for length in powers if length >= least)


def _vertex(near: NDArray[np.float64], best: NDArray[np.int64]) -> NDArray[np.float64]:
    """How far from its highest point the top of the parabola through three points lies."""
    at = np.clip(best, 1, near.shape[1] - 2)[:, None]
    left, top, right = (np.take_along_axis(near, at + n, axis=1)[:, 0] for n in (-1, 0, 1))
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / np.where(bend < 0.0, bend, -np.inf)
    return np.asarray(np.clip(shift, -0.5, 0.5))
