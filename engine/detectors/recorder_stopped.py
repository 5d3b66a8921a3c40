"""Recorder stopped: record-run code (`rolling = "timecode"`) ran, and runs no more.

Whether somebody pressed stop can't be heard, so it is told once, in amber, unless the crew had
said by hand that it is not rolling. It never goes red: only the crew knows whether it was meant.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from engine.detectors.base import TickContext, condition, unknown
from engine.model.flag_arrays import any_of
from engine.model.messages import Condition, Fault, Flags, Measurement
from engine.model.timecode_frames import CodeReading
from engine.model.track_memory import TrackMemory, each_track, per_track
from engine.model.tracks import BY_TIMECODE, Scene


class RecorderStopped(TrackMemory):
    """Active from where the code stopped until it runs again, or the crew stands by."""

    NEEDS_SAMPLES: ClassVar = False

    _ran: Flags = per_track(False)
    _seen: list[str] = each_track(str)

    def __init__(self, scene: Scene) -> None:
        self._tracks = len(scene.tracks)
        self._watched = scene.watched(Fault.TIMECODE) & (scene.rolling == BY_TIMECODE)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Say how every timecode track stands."""
        tracks = self._tracks
        if measurement is None:
            return unknown(tracks)
        m = measurement
        onset_s = np.full(tracks, m.end_s)
        known = np.zeros(tracks, dtype=np.bool_)
        active = np.zeros(tracks, dtype=np.bool_)
        for track_index, reading in m.timecode.items():
            known[track_index] = self._watched[track_index] and any_of(m.valid[:, track_index])
            self._ran[track_index] = (self._ran[track_index] or reading.moving) and not feed.standby
            active[track_index] = self._ran[track_index] and not reading.moving
            if reading.newest is not None:  # it stopped when the last label that was new ended
                onset_s[track_index] = reading.newest[0] + 1.0 / float(reading.rate.rate)
            self._seen[track_index] = _told(reading)
        return condition(active, known, onset_s, np.full(tracks, m.end_s))

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        return self._seen[track_index]


def _told(reading: CodeReading) -> str:
    if not math.isnan(reading.still_s):
        return f"recorder stopped: its code stands still at {reading.label}"
    return f"recorder stopped, or its code is lost: no valid frame since {reading.label}"
