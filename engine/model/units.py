"""Amplitude to decibels and back, on the sine-referenced scale of AES17; samples to hops.

Source: AES17 (a sine whose peak reaches full scale reads 0 dBFS, RMS and peak alike).
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FLOOR_DB: Final = -200.0
"""Lowest level stated anywhere, dB: far under any converter, so it stands for "no level"."""

IDLE_DBFS: Final = -110.0
"""AES17 RMS under which there is no room tone but an idle converter or a mute (CONTRACT.md; common
practice, no source: the noise of a microphone preamplifier lies far above it)."""

SPEECH_DB: Final = 10.0
"""Seconds of speech are hops at least this far above the track's live floor, dB (CONTRACT.md)."""

DECIMATED_HZ: Final = 2000.0
"""Rate of the sound in which faults of the low end are looked for, about, Hz."""

_TINY: Final = 1e-300
_NEAR: Final = 1.3


def power_db(mean_square: ArrayLike) -> NDArray[np.float64]:
    """10·log10 of a mean square, clamped to `FLOOR_DB`; a full-scale square wave reads 0."""
    power = np.maximum(np.asarray(mean_square, dtype=np.float64), _TINY)
    return np.maximum(10.0 * np.log10(power), FLOOR_DB)


def rms_dbfs(mean_square: ArrayLike) -> NDArray[np.float64]:
    """RMS level in dBFS as AES17 has it: 10·log10(2·mean square), a full-scale sine reads 0."""
    return power_db(2.0 * np.asarray(mean_square, dtype=np.float64))


def amplitude_db(amplitude: ArrayLike) -> NDArray[np.float64]:
    """20·log10 of an absolute amplitude (full scale is 1.0), clamped to `FLOOR_DB`."""
    magnitude = np.maximum(np.asarray(amplitude, dtype=np.float64), _TINY)
    return np.maximum(20.0 * np.log10(magnitude), FLOOR_DB)


def amplitude(level_db: ArrayLike) -> NDArray[np.float64]:
    """Amplitude of a peak level in dBFS; full scale is 1.0."""
    return np.asarray(10.0 ** (np.asarray(level_db, dtype=np.float64) / 20.0))


def mean_square_at(level_dbfs: ArrayLike) -> NDArray[np.float64]:
    """Mean square of a sound of that AES17 RMS level in dBFS: the inverse of `rms_dbfs`."""
    return np.asarray(10.0 ** (np.asarray(level_dbfs, dtype=np.float64) / 10.0) / 2.0)


IDLE_MEAN_SQUARE: Final = float(mean_square_at(IDLE_DBFS))
"""`IDLE_DBFS` as a mean square."""


def stated(level_db: float) -> float | None:
    """The level as a number to show or write, or None where there is no level at all."""
    if math.isnan(level_db) or level_db <= FLOOR_DB:
        return None
    return float(level_db)


def nearest_divisor(number: int, wanted: float) -> int:
    """The divisor of `number` whose ratio to `wanted` is nearest to one."""
    divisors = (n for n in range(1, number + 1) if number % n == 0)
    return min(divisors, key=lambda n: abs(math.log(n / wanted)))


@lru_cache
def fast_length(least: int) -> int:
    """The next length that has no prime factors but 2, 3 and 5: its transform is quick."""
    length = least
    while True:
        rest = length
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return length
        length += 1


def hop_frames(rate_hz: int) -> int:
    """Frames of a hop of 10 ms, at some rates a few more or less.

    A rate pulled up or down by 0.1 % (95904 Hz) can give a hop that nothing divides well: then
    the nearest number that takes the sound to about `DECIMATED_HZ` in whole steps.
    """
    exact = max(1, round(rate_hz / 100))
    for off in range(exact // 30 + 1):
        for frames in (exact - off, exact + off):
            decimated_hz = rate_hz / nearest_divisor(frames, rate_hz / DECIMATED_HZ)
            if DECIMATED_HZ / _NEAR < decimated_hz < DECIMATED_HZ * _NEAR:
                return frames
    return exact
