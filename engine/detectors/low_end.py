"""The low end of a voice on two packs of one body: its band, its lag, whether it is turned over."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from engine.model.messages import Levels

FINER: Final = 4
"""Between two lags a sung note has gone through a third of its period: its extremes lie between."""
_REACH: Final = 8
"""Lags to each side that are interpolated from."""


def extremes(correlation: Levels, near: slice) -> tuple[float, float]:
    """Highest and lowest of a correlation in that range of lags, drawn finer."""
    fine = _interpolation(len(correlation))[FINER * near.start : FINER * (near.stop - 1) + 1]
    drawn = fine @ correlation
    return float(drawn.max()), float(drawn.min())


@lru_cache(4)
def _interpolation(lags: int) -> Levels:
    """Draws a row of so many lags finer, shape (finer lags, lags): a sinc under a Hann window."""
    off = np.arange(FINER * (lags - 1) + 1)[:, np.newaxis] / FINER - np.arange(lags)
    window = np.cos(0.5 * np.pi * np.clip(off / _REACH, -1.0, 1.0)) ** 2
    return np.asarray(np.sinc(off) * window)


def is_wire(correlation: Levels, near: slice) -> bool:
    """Whether all of the low end is turned over, and not its lowest alone, as by a low cut.

    Speech falls by some 12 dB an octave here. The fourth difference along the lags, that is the
    second of both sounds, lifts as much: each octave counts alike.
    """
    level = np.zeros_like(correlation)
    level[2:-2] = np.diff(correlation, 4)
    return bool(-level[near].min() > level[near].max())


def phase_match(first: Levels, second: Levels, lags: int) -> Levels:
    """Their correlation by phase alone at each lag of the second, shape (2 * lags + 1,)."""
    size = 1 << (len(first) + lags - 1).bit_length()
    cross = np.fft.rfft(second, size) * np.conj(np.fft.rfft(first, size))
    match = np.fft.irfft(cross / np.maximum(np.abs(cross), 1e-30), size)
    return np.concatenate([match[-lags:], match[: lags + 1]])


def band_pass(low_hz: float, high_hz: float, rate_hz: float) -> Levels:
    """First-order Butterworth band-pass by the bilinear transform, shape (1, 6)."""
    low, high = np.tan(np.pi * np.array([low_hz, high_hz]) / rate_hz)
    width, middle = high - low, low * high
    a0 = 1.0 + width + middle
    numerator = (width / a0, 0.0, -width / a0)
    return np.array([[*numerator, 1.0, 2.0 * (middle - 1.0) / a0, (1.0 - width + middle) / a0]])
