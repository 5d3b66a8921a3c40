"""Spectra of the steps from sample to sample, for two tracks that may carry one signal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples
from engine.model.units import fast_length

Spectrum = NDArray[np.complexfloating]


class StepSpectra:
    """Spectra of the tracks of one tick, each made once; lags are looked at up to `most_lag`."""

    def __init__(self, samples: Samples, slow_steps: Samples, most_lag: int) -> None:
        self._samples, self._slow_steps, self._most_lag = samples, slow_steps, most_lag
        self._size = fast_length(
            len(samples) - 1 + most_lag
        )  # no lag asked for comes round the end
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
        """Samples by which the second lags the first where the steps of both match best."""
        across = np.fft.irfft(self._steps(other) * np.conj(self._steps(one)), self._size)
        near = np.concatenate([across[-self._most_lag :], across[: self._most_lag + 1]])
        return int(np.argmax(near)) - self._most_lag
