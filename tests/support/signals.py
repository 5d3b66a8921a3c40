"""Test signals with known answers; all float32 of shape (frames, 1) unless said otherwise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, lfilter

from engine.model.messages import Kind, PackLevel, Samples
from engine.model.tracks import Scene, Track

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 192_000)


def scene(
    tracks: int = 1, rate_hz: int = 48_000, kind: Kind = Kind.LAV, level: PackLevel | None = None
) -> Scene:
    """A scene of so many tracks, all alike."""
    made = tuple(Track(input=n, kind=kind, level=level) for n in range(1, tracks + 1))
    return Scene(made, rate_hz)


def column(values: NDArray[np.float64]) -> Samples:
    """One track of these values."""
    return values.astype(np.float32)[:, None]


def sine(
    level_dbfs: float, seconds: float, rate_hz: int, hz: float = 1000.0, phase: float = 0.0
) -> Samples:
    """A sine whose peak is `level_dbfs`."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    peak = 10.0 ** (level_dbfs / 20.0)
    return column(peak * np.sin(2.0 * np.pi * hz * time_s + phase))


def steps(parts: list[tuple[float | None, float]], rate_hz: int, hz: float = 1000.0) -> Samples:
    """A phase-continuous sine in parts of (peak in dBFS or None for digital zero, seconds)."""
    gains = [
        np.full(round(seconds * rate_hz), 0.0 if level is None else 10.0 ** (level / 20.0))
        for level, seconds in parts
    ]
    gain = np.concatenate(gains)
    return column(gain * np.sin(2.0 * np.pi * hz / rate_hz * np.arange(len(gain))))


def noise(rms_dbfs: float, seconds: float, rate_hz: int, seed: int = 1, tracks: int = 1) -> Samples:
    """White Gaussian noise of that AES17 RMS, shape (frames, tracks)."""
    shape = (round(seconds * rate_hz), tracks)
    rms = 10.0 ** (rms_dbfs / 20.0) / np.sqrt(2.0)
    return np.random.default_rng(seed).normal(0.0, rms, shape).astype(np.float32)


def faded(samples: Samples, rate_hz: int, seconds: float = 0.010) -> Samples:
    """The same with linear fades in and out."""
    frames = round(seconds * rate_hz)
    ramp = np.linspace(0.0, 1.0, frames, endpoint=False, dtype=np.float32)[:, None]
    out = samples.copy()
    out[:frames] *= ramp
    out[-frames:] *= ramp[::-1]
    return out


def burst_between_samples(rate_hz: int, offset: int) -> Samples:
    """EBU Tech 3341 cases 20 to 23: fs/6 at 0.5 with one period of fs/4 at 1.0 in the middle.

    Made at four times the rate, low-passed just under half the rate, and decimated from `offset`.
    """
    lead = round(0.05 * rate_hz / 24) * 24 * 4  # whole periods: 0.05 s either side
    slow = np.full(lead, 1.0 / 24.0)
    fast = np.full(16, 1.0 / 16.0)
    phase = np.cumsum(np.concatenate([[0.0], slow, fast, slow]))[:-1]
    gain = np.concatenate([np.full(lead, 0.5), np.ones(16), np.full(lead, 0.5)])
    taps = firwin(511, 23.0 / 48.0 * rate_hz, fs=4 * rate_hz)
    dense = lfilter(taps, [1.0], gain * np.sin(2.0 * np.pi * phase))
    return faded(column(dense[offset::4]), rate_hz)
