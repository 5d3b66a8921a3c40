"""Input lost: the interface went away or delivers nothing; nothing can be said of any track."""

from __future__ import annotations

from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, quiet
from engine.model.messages import Condition, Measurement
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

_CLEAR: Final = quiet(np.array([True]))


class InputLost(TrackMemory):
    """Active while the feed is stalled; speaks of the whole input."""

    NEEDS_SAMPLES: ClassVar = False

    _fed_s: float = remembered(By.WHOLE, 0.0)
    _reason: str = remembered(By.WHOLE, "")

    def __init__(self, scene: Scene) -> None:
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active from the last audio that came until audio comes again."""
        if feed.stalled:
            self._reason = feed.reason
        elif measurement is not None:
            self._fed_s = measurement.end_s
        if not feed.stalled:
            return _CLEAR
        known = np.array([True])
        return condition(known, known, np.array([self._fed_s]), np.array([feed.now_s]))

    def detail(self, track_index: int) -> str:
        """Why, one line."""
        return self._reason
