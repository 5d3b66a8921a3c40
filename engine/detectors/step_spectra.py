"""Spectra of the steps from sample to sample, for two tracks that may carry one signal."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples
from engine.model.units import fast_length

Spectrum = NDArray[np.complexfloating]

LAGS: Final = 24
"""Lags looked at for a better match, samples: half a millisecond at 48 kHz, 17 cm of air."""


class StepSpectra:
    """Spectra of the tracks of one tick, each made once."""

    def __init__(self, samples: Samples, slow_steps: Samples) -> None:
        self._samples, self._slow_steps = samples, slow_steps
        self._size = fast_length(len(samples) - 1 + LAGS)  # no lag asked for comes round the end
        self._slow: dict[int, Spectrum] = {}
        self._full: dict[int, Spectrum] = {}

    def slow(self, track_index: int) -> Spectrum:
        """Of the steps of the slow sound."""
        if track_index not in self._slow:
            self._slow[track_index] = np.fft.rfft(self._slow_steps[track_index])
        return self._slow[track_index]

    def _steps(self, track_index: int) -> Spectrum:
        if track_index not in self._full:
            steps = np.diff(self._samples[:, track_index])
            self._full[track_index] = np.fft.rfft(steps, self._size)
        return self._full[track_index]

    def best_lag(self, one: int, other: int) -> int:
        """Samples by which the second lags the first where the steps of both match best, to
        `LAGS`."""
        across = np.fft.irfft(self._steps(other) * np.conj(self._steps(one)), self._size)
        near = np.concatenate([across[-LAGS:], across[: LAGS + 1]])
        return int(np.argmax(near)) - LAGS
