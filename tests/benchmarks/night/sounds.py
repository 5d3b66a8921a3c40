"""Elementary sounds and measures that the models of the night share.

Arrays are float32 of shape (frames,) unless it is said; levels are AES17 dBFS: the RMS of a
full-scale sine is 0 dBFS.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

Audio = NDArray[np.float32]
Spectrum = Callable[[NDArray[np.float64]], NDArray[np.float64]]

WINDOW_S: Final = 0.02
"""Windows of levels; near the ear's resolution in time; common practice, no source."""


def rms_of(level_dbfs: float) -> float:
    """The root mean square of an AES17 level in dBFS."""
    return float(10.0 ** (level_dbfs / 20.0) / np.sqrt(2.0))


def level_of(sound: Audio) -> float:
    """AES17 level in dBFS; -200 for digital zero."""
    rms = float(np.sqrt(np.mean(np.square(sound, dtype=np.float64))))
    return float(20.0 * np.log10(max(rms * np.sqrt(2.0), 1e-10)))


def gain(level_db: float) -> np.float32:
    """A factor from decibels."""
    return np.float32(10.0 ** (level_db / 20.0))


def at_level(sound: Audio, level_dbfs: float) -> Audio:
    """The sound with that AES17 level over its whole length."""
    rms = float(np.sqrt(np.mean(np.square(sound, dtype=np.float64))))
    return sound * np.float32(rms_of(level_dbfs) / max(rms, 1e-12))


def white(frames: int, rng: np.random.Generator, level_dbfs: float) -> Audio:
    """White Gaussian noise up to half the sample rate."""
    return rng.standard_normal(frames, dtype=np.float32) * np.float32(rms_of(level_dbfs))


def shaped(
    frames: int, rate: int, spectrum: Spectrum, rng: np.random.Generator, level_dbfs: float
) -> Audio:
    """Gaussian noise whose amplitude over frequency (Hz) follows `spectrum`, at that level."""
    size = fft.next_fast_len(frames, real=True)
    bins = fft.rfft(rng.standard_normal(size, dtype=np.float32))
    hz = np.maximum(fft.rfftfreq(size, 1.0 / rate), 1.0)
    noise = fft.irfft(bins * spectrum(hz).astype(np.float32), size)[:frames]
    return at_level(noise.astype(np.float32), level_dbfs)


def band(low_hz: float, high_hz: float, slope_db: float = 0.0) -> Spectrum:
    """First-order limits at two corners and `slope_db` an octave between them."""

    def spectrum(hz: NDArray[np.float64]) -> NDArray[np.float64]:
        edges = 1.0 / np.sqrt((1.0 + (low_hz / hz) ** 4) * (1.0 + (hz / high_hz) ** 4))
        tilt = (hz / 1000.0) ** (slope_db / 6.02)
        return np.asarray(edges * tilt)

    return spectrum


def tone(frames: int, rate: int, hz: float, level_dbfs: float) -> Audio:
    """A steady sine."""
    peak = rms_of(level_dbfs) * np.sqrt(2.0)
    wave = peak * np.sin(2.0 * np.pi * hz / rate * np.arange(frames))
    return np.asarray(wave, dtype=np.float32)


def edges(frames: int, fade: int) -> Audio:
    """1 with raised-cosine edges of `fade` frames at both ends."""
    shape = np.ones(frames, dtype=np.float32)
    fade = min(fade, frames // 2)
    if fade > 0:
        ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)
        shape[:fade] = ramp
        shape[-fade:] = ramp[::-1]
    return shape


def delayed(sound: Audio, frames: float) -> Audio:
    """Later by a number of frames that need not be whole: linear phase in the spectrum."""
    whole = int(np.ceil(abs(frames))) + 64
    size = fft.next_fast_len(len(sound) + whole, real=True)
    bins = fft.rfft(sound, size)
    bins *= np.exp(-2j * np.pi * fft.rfftfreq(size) * frames).astype(np.complex64)
    return np.asarray(fft.irfft(bins, size)[: len(sound)], dtype=np.float32)


def wander(frames: int, rate: int, hz: float, rng: np.random.Generator) -> Audio:
    """A slow random curve of unit variance, hardly anything above `hz`."""
    slow = max(8, int(frames / rate * hz * 4) + 4)
    points = signal.lfilter([1.0, 1.0, 1.0], [1.0], rng.standard_normal(slow + 4))[4:] / np.sqrt(
        3.0
    )
    curve = np.interp(np.linspace(0, slow - 1, frames), np.arange(slow), points)
    return np.asarray(curve, dtype=np.float32)


def fading(frames: int, rate: int, doppler_hz: float, rng: np.random.Generator) -> Audio:
    """Envelope of a Rayleigh channel with mean power 1: the sum of waves from all sides of Clarke
    (1968) and Jakes (1974), at a walking pace a few Hz.
    """
    slow_rate = 1000
    t = np.arange(frames * slow_rate // rate + 2) / slow_rate
    sides = rng.uniform(0.0, 2.0 * np.pi, 16)
    phases = rng.uniform(0.0, 2.0 * np.pi, (2, 16))
    shift = 2.0 * np.pi * doppler_hz * np.outer(t, np.cos(sides))
    path = np.exp(1j * (shift + phases[0])).sum(axis=1) / 4.0
    envelope = np.interp(np.arange(frames) * slow_rate / rate, np.arange(len(t)), np.abs(path))
    return np.asarray(envelope, dtype=np.float32)


def a_weighting(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Amplitude of the A weighting of IEC 61672-1, Annex E: poles at 20.6, 107.7, 737.9, 12194 Hz,
    as public tables of it have them."""
    f2 = np.square(hz)
    weight = 12194.217**2 * f2**2
    weight /= (f2 + 20.598997**2) * (f2 + 12194.217**2)
    weight /= np.sqrt((f2 + 107.65265**2) * (f2 + 737.86223**2))
    return np.asarray(weight * 10.0 ** (2.0 / 20.0))


def weighted_levels(sound: Audio, rate: int) -> NDArray[np.float64]:
    """A-weighted AES17 levels in dBFS of every window of WINDOW_S, shape (windows,)."""
    size = fft.next_fast_len(len(sound), real=True)
    hz = fft.rfftfreq(size, 1.0 / rate)
    weighted = fft.irfft(fft.rfft(sound, size) * a_weighting(hz).astype(np.float32), size)
    hop = round(WINDOW_S * rate)
    windows = weighted[: len(sound) // hop * hop].reshape(-1, hop)
    power = np.mean(np.square(windows, dtype=np.float64), axis=1)
    return np.asarray(10.0 * np.log10(2.0 * power + 1e-16))
