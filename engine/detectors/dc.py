"""DC: the samples of a track lie off the middle, so that its headroom is one-sided.

Model: sound has no mean, and every microphone input blocks direct current; an offset that stays
comes from a failing converter or an input without its capacitor, and takes as much headroom as it
is high (at 0.05 of full scale 0.45 dB: arithmetic). The mean over 100 ms is taken as the median of
the last seconds, so that a gust or a blow does not count. Least offset: ours.
"""

from __future__ import annotations

from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.model.flag_arrays import any_of
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement
from engine.model.number_text import number
from engine.model.percentiles import medians
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

TICKS: Final = 20
"""Two seconds: the offset is known well before its alarm is due."""


class DC(TrackMemory):
    """Active while the median of the last means lies off zero."""

    NEEDS_SAMPLES: ClassVar = False

    _means: Levels = per_track(0.0, rows=TICKS)
    _tick: int = remembered(By.WHOLE, 0)
    _active: Flags = per_track(False)
    _offset: Levels = per_track(0.0)
    _off_since_s: Levels = per_track(np.nan)
    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(np.nan)

    def __init__(self, scene: Scene, *, least: float = 0.045, back: float = 0.01) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        least : float
            Full scale 1.0. Least offset: 0.05 (CONTRACT.md) with a tenth for what the sound adds.
        back : float
            Full scale 1.0. Deadband.
        """
        self._least, self._back = least, back
        self._watched = scene.watched(Fault.DC)
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Say how every track stands."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        self._means[self._tick % TICKS] = m.dc_offset
        self._tick += 1
        known = m.any_valid & self._watched
        off = np.abs(m.dc_offset) >= self._least - self._back
        if not any_of(off) and not any_of(self._active):
            self._off_since_s = np.full(self._tracks, np.nan)
            return quiet(known)
        begins = off & np.isnan(self._off_since_s)
        self._off_since_s = np.where(begins, m.start_s, self._off_since_s)
        offset = medians(self._means, axis=0)[0]
        limit = self._least - self._back * self._active
        active = np.abs(offset) >= limit
        since_s = np.where(np.isnan(self._off_since_s), m.start_s, self._off_since_s)
        self._onset_s = np.where(active & ~self._active, since_s, self._onset_s)
        self._last_s = np.where(active & off, m.end_s, self._last_s)
        self._offset = np.where(active & off, offset, self._offset)
        self._active = active
        self._off_since_s = np.where(off | self._active, self._off_since_s, np.nan)
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(self._active & known, known, self._onset_s, self._last_s, never)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        percent = number(100.0 * self._offset[track_index], digits=0, signed=True)
        return f"the mean of the samples lies {percent} % of full scale off zero"
