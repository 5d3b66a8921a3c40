"""The sound at about 2 kHz, for faults that lie in its low end: means over half a millisecond.

A mean over non-overlapping samples is a low-pass with zeros at all multiples of the new rate, so
what folds down next to 0 Hz is weakest, and white noise stays white.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Measurement, Samples
from engine.model.units import hop_frames, slow_factor


class Decimated:
    """Brings the sound of every track down to about 2 kHz, a whole number of samples each hop."""

    def __init__(self, sample_rate_hz: int) -> None:
        frames = hop_frames(sample_rate_hz)
        self.factor = slow_factor(frames, sample_rate_hz)
        self.hop_frames = frames // self.factor
        self.rate_hz = sample_rate_hz / self.factor
        self._mean = np.full(self.factor, 1.0 / self.factor, dtype=np.float32)

    def of(self, m: Measurement) -> NDArray[np.float32]:
        """The slow sound of one tick, made once for all who ask; not to be changed."""
        return m.once(("slow", self.factor), lambda: self(m.samples))

    def __call__(self, samples: Samples) -> NDArray[np.float32]:
        """The slow sound, shape (tracks, frames / factor); `samples` are whole hops."""
        channels = np.ascontiguousarray(samples.T)
        return np.asarray(channels.reshape(len(channels), -1, self.factor) @ self._mean)

    def gain(self, frequency_hz: NDArray[np.floating]) -> NDArray[np.float64]:
        """What the mean leaves of a sine's amplitude at those frequencies."""
        x = np.pi * np.asarray(frequency_hz, dtype=np.float64) / self.rate_hz
        at = np.where(x == 0.0, 1e-9, x)
        return np.asarray(np.abs(np.sin(at) / (self.factor * np.sin(at / self.factor))))
