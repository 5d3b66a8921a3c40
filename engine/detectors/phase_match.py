"""Whether two stretches are one sound at all frequencies, or agree by some lines alone.

Model: bands weighed alike, as by the phase transform (C. H. Knapp and G. C. Carter, IEEE Trans.
ASSP 24(4), 1976). What was copied or played again has the same phases in all of them; what two mics
hear of a drone, or a note of itself a period later, has them in the bands of its lines, for over
these lies noise, which never repeats.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples

BAND_HZ: Final = 400.0
"""A piece of 2.5 ms that is played again and again has a line in each."""
HIGHEST_HZ: Final = 16_000.0
"""Links and old converters end there (common practice, no source)."""
AGAIN: Final = 0.82
"""Least match of what a link played again: 0.97 and more behind a converter, 0.94 where the link
ends at 15 kHz, and of a sung note a period later 0.74 at most (measured)."""

HANN_BINS: Final = 1.0 + 2.0 * ((2.0 / 3.0) ** 2 + (1.0 / 6.0) ** 2)
"""So many bins under a Hann window tell the same: they correlate by 2/3 and 1/6 (arithmetic)."""

Spectrum: TypeAlias = NDArray[np.complex128]


@lru_cache(8)
def hann(frames: int) -> NDArray[np.float64]:
    """A Hann window of that length, made once."""
    window: NDArray[np.float64] = np.hanning(frames)
    window.setflags(write=False)
    return window


def phase_match(first: Samples, second: Samples, seconds: float, lag: float = 0.0) -> float:
    """How far two stretches have the same phases, 0 to 1, whatever their gain and polarity.

    Parameters
    ----------
    first, second : ndarray
        Sound of one length, shape (frames,).
    seconds : float
        That length, s.
    lag : float
        By how many samples the second is late.
    """
    frames = len(first)
    spectra = np.fft.rfft(np.stack([first, second]) * hann(frames))
    width = max(1, round(BAND_HZ * seconds))
    bands = min(round(HIGHEST_HZ * seconds), spectra.shape[1] - 1) // width
    spectra = spectra[:, 1 : 1 + bands * width]
    across = spectra[1] * np.conj(spectra[0])
    turn = 2.0 * np.pi * np.arange(1, len(across) + 1) / frames
    real = (across * np.exp(1j * lag * turn)).real.reshape(bands, width).sum(axis=1)
    whole = np.abs(across).reshape(bands, width).sum(axis=1)
    return float(abs(np.mean(real / np.maximum(whole, 1e-30))))


def cross_spectrum(first: Samples, second: Samples) -> Spectrum:
    """What two stretches have in common at each frequency but zero; sizes add up to one."""
    spectra = np.fft.rfft(np.stack([first, second]) * hann(len(first)))[:, 1:]
    across = spectra[0] * np.conj(spectra[1])
    return np.asarray(across / max(float(np.abs(across).sum()), 1e-30))


def beyond_chance(across: Spectrum, lags: int) -> float:
    """How far a cross-spectrum agrees at the best lag, in deviations of phases that are chance.

    Of a few lines alone it is at most the root of twice their number, however strong they are.
    """
    turns = np.outer(np.arange(-lags, lags + 1), np.arange(1, len(across) + 1)) / len(across)
    agreed = np.abs((across * np.exp(1j * np.pi * turns)).real.sum(axis=1)).max()
    return float(agreed / np.sqrt(0.5 * HANN_BINS * np.vdot(across, across).real))
