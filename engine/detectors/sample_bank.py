"""Detectors that are asked where the sound is measured: only what they say travels.

A scan measures in one process and judges in another, and the slower of the two is how fast it
goes. So some of the detectors that look at each sample work on the measuring side. They see what
they would see in the pipeline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from engine.detectors.base import TickContext, unknown
from engine.detectors.registry import DETECTORS
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import FaultRule
from engine.model.messages import Condition, State
from engine.model.tick import SampleFindings, Tick
from engine.model.tracks import Scene

BESIDE_THE_METER: Final = frozenset({"dropout", "tone", "clock", "noise_burst", "crackle"})
"""The rules whose detectors are asked there: with them both processes have about as much to do, at
12 tracks as at 64 (`tests/benchmarks/speed`)."""
_ACTIVE: Final = int(State.ACTIVE)
_MOST_QUIET: Final = 64
"""So many different ones are kept to be sent again."""


class SampleDetectorBank:
    """The detectors of those rules that are asked where the sound is measured."""

    def __init__(self, scene: Scene, rules: Sequence[FaultRule] = FAULTS) -> None:
        """Start with nothing heard."""
        self._detectors = {
            rule.name: DETECTORS[rule.name](scene)
            for rule in rules
            if rule.name in BESIDE_THE_METER
        }
        self._quiet: dict[bytes, Condition] = {}

    def listen(self, tick: Tick) -> Tick:
        """The same tick with what these detectors say of it."""
        m = tick.measurement
        feed = TickContext(m.end_s, lost_frames=tick.lost_frames)
        said = {
            name: self._light(detector.update(m, feed))
            for name, detector in self._detectors.items()
        }
        details = {
            (name, track_index): self._detectors[name].detail(track_index)
            for name, condition in said.items()
            if _ACTIVE in condition.state.tobytes()
            for track_index in np.flatnonzero(condition.state == _ACTIVE).tolist()
        }
        return replace(tick, heard=SampleFindings(said, details))

    def _light(self, said: Condition) -> Condition:
        """The same; where no track is active, one condition for all that say the same so."""
        state = said.state.tobytes()
        if _ACTIVE in state:
            return said
        quiet = self._quiet.get(state)
        if quiet is None:
            if len(self._quiet) >= _MOST_QUIET:
                self._quiet.clear()
            rest = unknown(len(said.state))
            quiet = Condition(said.state.copy(), rest.onset_s, rest.last_s, rest.may_be_red)
            self._quiet[state] = quiet
        return quiet
