"""How far mains lines stand out of their neighbourhood, second by second.

The lines at 50 or 60 Hz and twice and three times that, against the sound 5 and 7 Hz beside them,
in windows of a second (Hann: a line 1 Hz off is 1.4 dB low; textbook). Of the seconds in a period
those with the least count (`period`), for voices come and go.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Levels, Samples
from engine.model.units import power_db

_MAINS_HZ: Final = (50.0, 60.0)
_LINES: Final = (1, 2, 3)
_BESIDE_HZ: Final = (-7.0, -5.0, 5.0, 7.0)


class MainsLevel:
    """Made for windows of that many samples at that rate."""

    def __init__(self, rate_hz: float, frames: int) -> None:
        t = np.arange(frames) / rate_hz
        window = np.hanning(frames)
        # Cosines and sines side by side, shape (frames, 2 frequencies): one real product.
        self._lines, self._beside = (
            np.concatenate([_waves(np.cos, f, t, window), _waves(np.sin, f, t, window)], axis=1)
            for f in (_frequencies((0.0,)), _frequencies(_BESIDE_HZ))
        )

    def prominence_db(self, sound: Samples) -> Levels:
        """Lines over their sides, the stronger of both mains, shape (tracks,); 0 at least.

        `sound` has shape (tracks, frames).
        """
        lines = _power(sound, self._lines).reshape(len(sound), len(_MAINS_HZ), -1).sum(axis=2)
        beside = _power(sound, self._beside).reshape(len(sound), len(_MAINS_HZ), -1).sum(axis=2)
        ratio = lines * len(_BESIDE_HZ) / np.maximum(beside, 1e-30)
        return np.maximum(power_db(ratio.max(axis=1)), 0.0)


def _frequencies(beside: tuple[float, ...]) -> list[float]:
    return [n * mains + off for mains in _MAINS_HZ for n in _LINES for off in beside]


def _waves(shape: np.ufunc, hz: list[float], t: Levels, window: Levels) -> NDArray[np.float32]:
    return np.asarray(window[:, None] * shape(2.0 * np.pi * np.outer(t, hz)), dtype=np.float32)


def _power(sound: Samples, waves: NDArray[np.float32]) -> NDArray[np.float64]:
    cosine, sine = np.split(np.square(sound @ waves, dtype=np.float64), 2, axis=1)
    return np.asarray(cosine + sine)
