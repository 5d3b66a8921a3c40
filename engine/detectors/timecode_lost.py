"""Timecode lost: no valid frame comes from the track any more, or none ever did.

With `rolling = "timecode"` in the plan, code that ran and is gone is a recorder that stopped; see
`recorder_stopped`.
"""

from __future__ import annotations

import math
from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, unknown
from engine.model.flag_arrays import any_of
from engine.model.messages import Condition, Fault, Levels, Measurement
from engine.model.track_memory import TrackMemory, each_track, per_track
from engine.model.tracks import BY_TIMECODE, Scene

LATE_S: Final = 0.25
"""A frame ends up to 45 ms before it is read a tick later: less than this is no gap."""


class TimecodeLost(TrackMemory):
    """Active while no valid frame comes; the onset is the end of the last one."""

    NEEDS_SAMPLES: ClassVar = False

    _since_s: Levels = per_track(np.nan)
    _seen: list[str] = each_track(str)

    def __init__(self, scene: Scene) -> None:
        self._tracks = len(scene.tracks)
        self._watched = scene.watched(Fault.TIMECODE)
        self._by_code = scene.rolling == BY_TIMECODE
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Say how every timecode track stands."""
        tracks = self._tracks
        if measurement is None:
            return unknown(tracks)
        m = measurement
        onset_s = np.zeros(tracks)
        active = np.zeros(tracks, dtype=np.bool_)
        known = np.zeros(tracks, dtype=np.bool_)
        self._since_s = np.fmin(self._since_s, m.start_s)
        for track_index, reading in m.timecode.items():
            ever = not math.isnan(reading.valid_s)
            known[track_index] = self._watched[track_index] and any_of(m.valid[:, track_index])
            onset_s[track_index] = reading.valid_s if ever else self._since_s[track_index]
            active[track_index] = m.end_s - onset_s[track_index] > LATE_S and not (
                ever and self._by_code
            )
            after = f"no valid frame since {reading.label}"
            self._seen[track_index] = after if ever else "no valid frame since the watch began"
        return condition(active, known, onset_s, np.full(tracks, m.end_s))

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        return self._seen[track_index]
