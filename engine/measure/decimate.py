"""The sound at about 2 kHz, for faults that lie in its low end: means over half a millisecond.

A mean over non-overlapping samples is a low-pass with zeros at all multiples of the new rate, so
what folds down next to 0 Hz is weakest, and white noise stays white.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples
from engine.model.units import DECIMATED_HZ, hop_frames, nearest_divisor


class Decimate:
    """Brings the sound of every track down to about 2 kHz, a whole number of samples each hop."""

    def __init__(self, sample_rate_hz: int) -> None:
        frames = hop_frames(sample_rate_hz)
        self.factor = nearest_divisor(frames, sample_rate_hz / DECIMATED_HZ)
        self.hop_frames = frames // self.factor
        self.rate_hz = sample_rate_hz / self.factor
        self._mean = np.full(self.factor, 1.0 / self.factor, dtype=np.float32)

    def __call__(self, channels: Samples) -> NDArray[np.float32]:
        """The decimated sound, shape (tracks, frames / factor).

        `channels` has shape (tracks, frames), whole hops.
        """
        return np.asarray(channels.reshape(len(channels), -1, self.factor) @ self._mean)

    def gain(self, frequency_hz: NDArray[np.floating]) -> NDArray[np.float64]:
        """What the mean leaves of a sine's amplitude at those frequencies."""
        x = np.pi * np.asarray(frequency_hz, dtype=np.float64) / self.rate_hz
        at = np.where(x == 0.0, 1e-9, x)
        return np.asarray(np.abs(np.sin(at) / (self.factor * np.sin(at / self.factor))))
