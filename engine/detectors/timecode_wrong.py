"""Timecode wrong: it jumps, stands still, runs backwards, or runs at another rate than planned.

Code that stands still is no fault where the plan says that it tells when the recorder rolls
(`rolling = "timecode"`), nor is a jump after it stood still or was gone.
"""

from __future__ import annotations

import math
from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, unknown
from engine.model.messages import Condition, Fault, Measurement
from engine.model.timecode_frames import CodeReading, Jump
from engine.model.track_memory import TrackMemory, each_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import BY_TIMECODE, Scene

TOLD_S: Final = 10.0
"""So long a jump is told beside what else is wrong."""

_AGAIN_S: Final = 0.5
"""After a longer silence, record-run code may begin anywhere."""


class TimecodeWrong(TrackMemory):
    """Active while the code is wrong; a jump is so for the one tick in which it is seen."""

    NEEDS_SAMPLES: ClassVar = False

    _jumps: dict[int, Jump] = remembered(By.KEYS, lambda _: {})
    _seen: list[str] = each_track(str)

    def __init__(self, scene: Scene) -> None:
        self._tracks = len(scene.tracks)
        self._watched = scene.watched(Fault.TIMECODE)
        self._planned = scene.frame_rate
        self._by_code = scene.rolling == BY_TIMECODE
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
            known[track_index] = self._watched[track_index]
            wrong = self._wrong(track_index, reading, m.end_s)
            if wrong:
                active[track_index] = True
                onset_s[track_index] = max(min(at_s for at_s, _ in wrong), 0.0)
                self._seen[track_index] = "; ".join(text for _, text in wrong)
        return condition(active, known, onset_s, np.full(tracks, m.end_s))

    def _wrong(
        self, track_index: int, reading: CodeReading, now_s: float
    ) -> list[tuple[float, str]]:
        """What is wrong now: since when, and in words."""
        wrong = []
        if not math.isnan(reading.still_s) and not self._by_code:
            wrong.append((reading.still_s, f"code stands still at {reading.label}"))
        if reading.reverse:
            wrong.append((reading.run_s, f"code runs backwards at {reading.label}"))
        if reading.moving and reading.measured not in ("", self._planned):
            text = f"rate is {reading.measured}, plan says {self._planned}"
            wrong.append((reading.measured_since_s, text))
        jump = reading.jump
        if jump is not None and not (self._by_code and jump.lost_s > _AGAIN_S):
            self._jumps[track_index] = jump
            return [(jump.at_s, _told(jump)), *wrong]
        last = self._jumps.get(track_index)
        if wrong and last is not None and now_s - last.at_s < TOLD_S:
            wrong.append((wrong[0][0], _told(last)))
        return wrong

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        return self._seen[track_index]


def _told(jump: Jump) -> str:
    if jump.repeats:
        times = "twice" if jump.repeats == 1 else f"{jump.repeats + 1} times"
        return f"{jump.before} came {times}"
    return f"jumped from {jump.before} to {jump.after}"
