"""A peak limiter that looks ahead: what comes out never exceeds the ceiling."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

AHEAD_S: Final = 0.005
HOLD_S: Final = 0.080
"""How long the gain stays down after a peak; shorter would turn low notes into distortion."""


class Limiter:
    """Delays by 5 ms; under the ceiling nothing changes but that."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._ahead = max(1, round(AHEAD_S * sample_rate_hz))
        self._reach = self._ahead + round(HOLD_S * sample_rate_hz)
        self._sound = np.zeros(self._ahead)
        self._wanted = np.ones(self._reach + self._ahead)

    def __call__(self, x: NDArray[np.float64], ceiling: NDArray[np.float64]) -> NDArray[np.float64]:
        """The next frames, both of shape (frames,); `ceiling` is the amplitude allowed at each.

        The gain is the mean of the least gain wanted over a window, so it arrives in time, without
        a step.
        """
        count, ahead = len(x), self._ahead
        sound = np.concatenate([self._sound, x])
        fits = np.minimum(1.0, ceiling / np.maximum(np.abs(x), 1e-12))
        wanted = np.concatenate([self._wanted, fits])
        lowest = _sliding_minimum(wanted, self._reach)
        sums = np.cumsum(np.concatenate([[0.0], lowest[-(count + ahead) :]]))
        gain = (sums[ahead:] - sums[:-ahead])[1:] / ahead
        self._sound, self._wanted = sound[count:], wanted[count:]
        return np.asarray(sound[:count] * gain)


def _sliding_minimum(x: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """The least of each `width` values in a row, shape (len(x) - width + 1,).

    Twice as wide each step, so a wide window takes few passes.
    """
    done = 1
    while done < width:
        step = min(done, width - done)
        x = np.minimum(x[:-step], x[step:])
        done += step
    return x
