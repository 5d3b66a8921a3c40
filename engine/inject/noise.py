"""Noise of known level: electronics, pink, and the hash of a link that lost its carrier."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Levels, Samples
from engine.model.units import amplitude

FLICKER_CORNER_HZ: Final = 150.0
"""Where 1/f noise meets the white noise of a microphone input; common practice, no source."""
CLICKS_HZ: Final = 300.0
"""Clicks a second well under the FM threshold; common practice, no source."""


def at_level(noise: Samples, level_dbfs: Levels | float) -> Samples:
    """The noise scaled so that each track has that AES17 RMS; shape (frames, tracks)."""
    rms = np.sqrt(np.mean(noise.astype(np.float64) ** 2, axis=0))
    wanted = amplitude(level_dbfs) / np.sqrt(2.0)
    return np.asarray(noise * (wanted / np.maximum(rms, 1e-12)), dtype=np.float32)


def white(frames: int, tracks: int, rng: np.random.Generator) -> Samples:
    """White Gaussian noise, shape (frames, tracks), contiguous by track."""
    return rng.standard_normal((tracks, frames), dtype=np.float32).T


def electronics(frames: int, tracks: int, rate: int, rng: np.random.Generator) -> Samples:
    """Steady noise of a microphone input with nothing before it: white, and 1/f below 150 Hz."""
    spectrum = np.fft.rfft(white(frames, tracks, rng), axis=0)
    hz = np.fft.rfftfreq(frames, 1.0 / rate)[:, np.newaxis]
    shape = np.sqrt(1.0 + FLICKER_CORNER_HZ / np.maximum(hz, 5.0))
    return np.fft.irfft(spectrum * shape, n=frames, axis=0).astype(np.float32)


def link_hash(frames: int, tracks: int, rate: int, rng: np.random.Generator) -> Samples:
    """What an FM receiver demodulates under its threshold: rising noise and clicks.

    Discriminator noise grows 6 dB per octave with frequency; under the threshold, clicks of one
    turn of phase come on top. Source: S. O. Rice's model of 1963, as reviewed by I. Bar-David and
    S. Shamai, IEEE Trans. Inf. Theory 34, 1988.
    """
    from scipy import signal  # a second to load, and only a drill needs it

    rising = np.diff(white(frames + 1, tracks, rng), axis=0)
    chance = rng.random((tracks, frames), dtype=np.float32).T
    clicks = chance < CLICKS_HZ / rate
    signs = np.where(rng.random((tracks, frames), dtype=np.float32).T < 0.5, -8.0, 8.0)
    decay = np.exp(-1.0 / (0.1e-3 * rate))
    popping = signal.lfilter([1.0], [1.0, -decay], np.where(clicks, signs, 0.0), axis=0)
    return np.asarray(rising + popping, dtype=np.float32)
