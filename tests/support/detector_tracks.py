"""Sounds of live places and of voices, made in code, for detectors that must tell them apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import iirpeak, lfilter

from engine.model.messages import Samples
from tests.support.signals import noise

Wave = NDArray[np.float64]


def place(
    dbfs: float, seconds: float, rate_hz: int, seed: int = 1, sway_db: float = 2.0
) -> Samples:
    """A live place, shape (frames, 1): falls with frequency, its level sways every 100 ms."""
    rng = np.random.default_rng(seed)
    x = noise(0.0, seconds, rate_hz, seed)[:, 0].astype(np.float64)
    x = lfilter([1.0], [1.0, -0.9], x)
    knots = rng.uniform(-sway_db, sway_db, round(seconds * 10) + 1)
    x *= 10 ** (np.interp(np.arange(len(x)) / rate_hz, np.arange(len(knots)) / 10, knots) / 20)
    return scaled(x, dbfs)


def words(
    dbfs: float, seconds: float, rate_hz: int, on_s: float = 0.4, off_s: float = 0.2, seed: int = 7
) -> Samples:
    """Noise in syllables of `on_s`, that loud while it lasts, with nothing between them."""
    x = noise(dbfs, seconds, rate_hz, seed)
    at_s = np.arange(len(x)) / rate_hz % (on_s + off_s)
    return np.asarray(x * (at_s < on_s)[:, None], dtype=np.float32)


def comb(
    dbfs: float, seconds: float, rate_hz: int, mains_hz: float, lines: tuple[int, ...] = (1, 2, 3)
) -> Samples:
    """Mains lines of falling height whose AES17 RMS together is `dbfs`."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    x = sum(np.sin(2 * np.pi * n * mains_hz * t + n) / n for n in lines)
    return scaled(np.asarray(x), dbfs)


def scaled(x: Wave, dbfs: float) -> Samples:
    """That wave as one track at that AES17 RMS."""
    x = x * (10 ** (dbfs / 20) / np.sqrt(2.0 * np.mean(x**2)))
    return np.asarray(x[:, None], dtype=np.float32)


def spliced(parts: list[Samples]) -> Samples:
    """One after the other."""
    return np.concatenate(parts)


def engine_runs(
    dbfs: float, seconds: float, rate: int, turns_a_minute: float, seed: int = 1
) -> Samples:
    """A four-stroke engine of one cylinder, shape (frames, 1): a pulse of exhaust each second turn,
    that rings in its pipe, no two alike; its governor lets the speed sway by half a percent."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * rate)
    sway = lfilter([1.0], [1.0, -0.97], rng.standard_normal(round(50 * seconds) + 2))
    turns_hz = turns_a_minute / 120.0 * (1.0 + 0.004 * sway / sway.std())
    at_s = np.arange(frames) / rate
    strokes = np.cumsum(np.interp(at_s, np.arange(len(sway)) / 50.0, turns_hz)) / rate
    fires = np.flatnonzero(np.diff(np.floor(strokes)))
    pulses = np.zeros(frames)
    pulses[fires] = 1.0 + 0.1 * rng.standard_normal(len(fires))
    x = sum(
        lfilter(*iirpeak(hz, sharp, fs=rate), pulses)
        for hz, sharp in ((75.0, 1.5), (190.0, 3.0), (430.0, 5.0), (900.0, 6.0))
    )
    return scaled(x + 0.002 * rng.standard_normal(frames), dbfs)
