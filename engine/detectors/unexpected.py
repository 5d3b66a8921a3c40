"""Unexpected: a signal on an input that the plan calls unused; something is patched wrongly.

Model: an input with nothing in it carries its own noise, far under -50 dBFS; whatever is louder
came down a cable. Speech has pauses: short ones count as signal. A line-up tone that is on all
inputs is on this one as well, and nothing is patched wrongly. Common practice, no source.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from engine.detectors.base import TickContext, condition, unknown
from engine.detectors.line_up import has_line_of_all
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import Condition, Fault, Kind, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track
from engine.model.tracks import Scene
from engine.model.units import rms_dbfs


class Unexpected(TrackMemory):
    """Signal above the limit on unused inputs, with pauses bridged."""

    NEEDS_SAMPLES: ClassVar = True

    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(-np.inf)
    _loudest_dbfs: Levels = per_track(-np.inf)
    _sound_s: Levels = per_track(0.0)

    def __init__(
        self,
        scene: Scene,
        *,
        breath_s: float = 6.0,
        least_sound_s: float = 0.5,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        breath_s : float
            s. A pause as short as this is part of the signal; a longer one ended it where it
            began.
        least_sound_s : float
            s. So much must be above the limit in all: a knock on the connector is no
            signal.
        """
        self._breath_s = breath_s
        self._least_sound_s = least_sound_s
        self._watched = scene.watched(Fault.UNEXPECTED)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._limit_dbfs = scene.numbers("unexpected_dbfs")
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active from the first hop above the limit until a breath without any has passed."""
        if measurement is None or not any_of(self._watched):
            return unknown(self._tracks)
        m = measurement
        level_dbfs = np.where(m.valid, rms_dbfs(m.mean_square), -np.inf)
        loud = (level_dbfs > self._limit_dbfs) & self._watched
        for track_index in indices(loud.any(axis=0)).tolist():
            if has_line_of_all(m.samples.T, track_index, self._open):
                loud[:, track_index] = False
        some = loud.any(axis=0)
        first_s = m.start_s + m.hop_s * np.argmax(loud, axis=0)
        begins = some & (first_s - self._last_s > self._breath_s)
        self._onset_s = np.where(begins, first_s, self._onset_s)
        self._loudest_dbfs = np.where(begins, -np.inf, self._loudest_dbfs)
        self._loudest_dbfs = np.maximum(self._loudest_dbfs, level_dbfs.max(axis=0))
        heard_s = m.hop_s * count_of(loud, axis=0)
        self._sound_s = np.where(begins, 0.0, self._sound_s) + heard_s
        end_s = m.start_s + m.hop_s * (len(loud) - np.argmax(loud[::-1], axis=0))
        self._last_s = np.where(some, end_s, self._last_s)
        silent_s = m.end_s - self._last_s
        breath = silent_s <= self._breath_s
        ends = ~breath & (silent_s - self._breath_s <= m.end_s - m.start_s)
        active = (breath | ends) & (self._sound_s >= self._least_sound_s)
        until_s = np.where(breath, m.end_s, self._last_s)
        known = m.any_valid & self._watched
        active &= known
        return condition(active, known, self._onset_s, until_s, np.zeros_like(active))

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        return f"signal of up to {self._loudest_dbfs[track_index]:.0f} dBFS on an unused input"
