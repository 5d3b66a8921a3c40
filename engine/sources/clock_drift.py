"""How much faster a sound interface's clock runs than the computer's own."""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np

BIN_S: Final = 5.0
"""Of each so many seconds only the promptest block counts: delay is only ever added."""

BINS: Final = 120
LEAST_BINS: Final = 12
"""Answers after a minute, looks back ten."""


class ClockDrift:
    """Compares frames that came with the steady clock at which they came.

    Blocks arrive late by a random time but never early, so the promptest of each `BIN_S` lie on
    one line; the median of the slopes between them (Theil 1950, Sen 1968) bears up to 29.3 % of bad
    ones. The steady clock is the system's: NTP may slew it, by at most 500 ppm (adjtimex(2)).
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self.ppm: float | None = None
        self._rate_hz = sample_rate_hz
        self._frames = 0
        self._start_s: float | None = None
        self._bin = 0
        self._best: tuple[float, float] | None = None
        self._points: deque[tuple[float, float]] = deque(maxlen=BINS)

    def add(self, now_s: float, frames: int) -> None:
        """So many frames more have come by `now_s`; `ppm` is anew after each `BIN_S`."""
        if self._start_s is None:
            self._start_s = now_s
            return
        self._frames += frames
        at_s = now_s - self._start_s
        late_s = at_s - self._frames / self._rate_hz
        if int(at_s / BIN_S) != self._bin:
            self._bin = int(at_s / BIN_S)
            if self._best is not None:
                self._points.append(self._best)
            self._best = None
            self._estimate()
        if self._best is None or late_s < self._best[1]:
            self._best = (at_s, late_s)

    def _estimate(self) -> None:
        if len(self._points) < LEAST_BINS:
            return
        at_s, late_s = np.array(self._points).T
        first, second = np.triu_indices(len(at_s), k=1)
        slopes = (late_s[second] - late_s[first]) / (at_s[second] - at_s[first])
        self.ppm = float(-1e6 * np.median(slopes))
