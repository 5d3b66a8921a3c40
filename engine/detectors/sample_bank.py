"""Detectors that need every sample, asked where the sound is measured; only their word travels.

A scan measures in one process and judges in another. Samples are nearly all of what a tick weighs,
so the few detectors that look at each of them work on the measuring side, which spares the
journey and halves the load between the two. They see what they would see in the pipeline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from engine.detectors.base import Feed, unknown
from engine.detectors.registry import DETECTORS, Row
from engine.measure.decimate import Slow
from engine.model.messages import Condition, State
from engine.model.tracks import Scene
from engine.pipeline.framing import Heard, Tick

_ACTIVE: Final = int(State.ACTIVE)


class Ears:
    """The detectors of those rows that need every sample."""

    def __init__(self, scene: Scene, rows: Sequence[Row] = DETECTORS) -> None:
        """Start with nothing heard."""
        self._detectors = {row.fault: row.detector(scene) for row in rows if row.needs_samples}
        self._slow = Slow(scene.sample_rate_hz)
        self._quiet = unknown(len(scene.tracks))

    def listen(self, tick: Tick) -> Tick:
        """The same tick with what these detectors say of it, and without its samples."""
        m = tick.measurement
        feed = Feed(m.end_s, lost_frames=tick.lost_frames)
        said = {
            fault: self._light(detector.update(m, feed))
            for fault, detector in self._detectors.items()
        }
        details = {
            (fault, place): self._detectors[fault].detail(place)
            for fault, condition in said.items()
            for place in np.flatnonzero(condition.state == State.ACTIVE).tolist()
        }
        self._slow.of(m)  # the others live on this; it goes along
        return replace(tick, measurement=m.without_samples(), heard=Heard(said, details))

    def _light(self, said: Condition) -> Condition:
        """The same; where no track is active, what only active ones need is one for all ticks."""
        if _ACTIVE in said.state.tobytes():
            return said
        quiet = self._quiet
        return Condition(said.state, quiet.onset_s, quiet.last_s, quiet.may_be_red)
