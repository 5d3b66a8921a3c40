"""Stuck: a buffer is played again and again; what comes is no live sound any more.

Model: a driver, a network link or a recorder that is not served in time hands over its last buffer
once more, so the sound repeats itself bit for bit with the buffer's length as its period. Live
sound never does, for it carries noise; digital tones, codes and silence do and are left out (see
`measure.repeats`). A shorter repeat, under half a second, is a link that conceals a loss:
`dropout`. Common practice, no source for the lengths of buffers.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.model.messages import Condition, Fault, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track
from engine.model.tracks import Scene


class Stuck(TrackMemory):
    """Active while a track repeats itself; the onset is its first repeated sample."""

    NEEDS_SAMPLES: ClassVar = False

    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(np.nan)
    _period_s: Levels = per_track(np.nan)

    def __init__(self, scene: Scene) -> None:
        self._watched = scene.watched(Fault.STUCK)
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Say how every track stands."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        if not m.repeats:
            return quiet(m.any_valid & self._watched)
        active = np.zeros(self._tracks, dtype=np.bool_)
        for repeat in m.repeats:
            track_index = repeat.track_index
            self._onset_s[track_index] = repeat.begin_s
            self._last_s[track_index] = repeat.end_s
            self._period_s[track_index] = repeat.period_s
            active[track_index] = not repeat.ended
        known = m.any_valid & self._watched
        return condition(active & known, known, self._onset_s, self._last_s)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        period_ms = 1e3 * float(np.nan_to_num(self._period_s[track_index]))
        return f"the last {period_ms:.0f} ms repeat, sample for sample"
