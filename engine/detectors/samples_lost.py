"""Samples lost: audio was lost before it was looked at, on every track at once."""

from __future__ import annotations

from collections import deque
from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, quiet, span_s
from engine.model.messages import Condition, Measurement
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

WINDOW_S: Final = 60.0
RED_LOST_S: Final = 1.0
"""More than this lost in a minute is red (CONTRACT.md)."""
_CLEAR: Final = quiet(np.array([True]))


class LossWindow:
    """How much was lost over the last minute; times in stream seconds."""

    def __init__(self) -> None:
        self._losses: deque[tuple[float, float]] = deque()
        self.lost_s = 0.0

    def add(self, now_s: float, lost_s: float) -> None:
        """Count a loss (0 where none) and forget what is older than a minute."""
        if lost_s > 0.0:
            self._losses.append((now_s, lost_s))
            self.lost_s += lost_s
        while self._losses and self._losses[0][0] <= now_s - WINDOW_S:
            self.lost_s -= self._losses.popleft()[1]


class SamplesLost(TrackMemory):
    """Active in the tick of a loss; red once more than a second went in a minute."""

    NEEDS_SAMPLES: ClassVar = False

    _window: LossWindow = remembered(By.WHOLE, lambda _: LossWindow())

    def __init__(self, scene: Scene) -> None:
        self._rate_hz = scene.sample_rate_hz
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Say how the whole input stands."""
        lost_s = feed.lost_frames / self._rate_hz
        self._window.add(feed.now_s, lost_s)
        if lost_s <= 0.0:
            return _CLEAR
        onset_s, last_s = np.array([feed.now_s]), np.array([feed.now_s])
        if measurement is not None:
            missing = np.asarray(~measurement.valid.any(axis=1, keepdims=True))
            onset_s, last_s = span_s(missing, measurement)
        red = np.array([self._window.lost_s > RED_LOST_S])
        return condition(np.array([True]), np.array([True]), onset_s, last_s, red)

    def detail(self, track_index: int) -> str:
        """How much, one line."""
        lost_s = min(self._window.lost_s, WINDOW_S)
        return f"{lost_s:.2f} s of audio lost in the last minute"
