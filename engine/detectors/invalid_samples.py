"""Samples lost on one track: its samples are no numbers (NaN or infinity).

Only a broken driver, file or plug-in makes them; what they stood for is lost, so they count as
lost samples of that track and are measured as nothing.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from engine.detectors.base import TickContext, condition, quiet, span_s, unknown
from engine.detectors.samples_lost import RED_LOST_S, LossWindow
from engine.model.flag_arrays import any_of
from engine.model.messages import Condition, Measurement
from engine.model.track_memory import TrackMemory, each_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene


class InvalidSamples(TrackMemory):
    """Active in each tick that holds a sample that is no number."""

    NEEDS_SAMPLES: ClassVar = False

    _windows: list[LossWindow] = each_track(LossWindow)
    _any: bool = remembered(By.WHOLE, False)

    def __init__(self, scene: Scene) -> None:
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self._known = np.ones(self._tracks, dtype=np.bool_)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Say how every track stands."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        active = m.lost > 0
        self._any = self._any or any_of(active)
        if not self._any:
            return quiet(self._known)
        red = np.zeros(self._tracks, dtype=np.bool_)
        for track_index, window in enumerate(self._windows):
            window.add(feed.now_s, float(m.lost[track_index]) / self._rate_hz)
            red[track_index] = window.lost_s > RED_LOST_S
        onset_s, last_s = span_s(~m.valid, m)
        return condition(active, self._known, onset_s, last_s, red)

    def detail(self, track_index: int) -> str:
        """How much, one line."""
        lost = round(self._windows[track_index].lost_s * self._rate_hz)
        return f"{lost} invalid samples in the last minute (NaN or infinity)"
