"""Detectors that are asked where the sound is measured: only what they say travels.

A scan measures in one process and judges in another, and the slower of the two is how fast it
goes. So some of the detectors that look at each sample work on the measuring side. They see what
they would see in the pipeline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final, cast

from engine.detectors.base import TickContext
from engine.detectors.registry import DETECTORS, FORESIGHTED
from engine.measure.tick_block import TickBlock
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import FaultRule
from engine.model.flag_arrays import indices
from engine.model.messages import State
from engine.model.tick import SampleFindings, Tick
from engine.model.tracks import Scene

BESIDE_THE_METER: Final = frozenset({"dropout", "tone", "clock", "noise_burst", "crackle"})
"""The rules whose detectors are asked there: with them both processes have about as much to do, at
12 tracks as at 64 (`tests/benchmarks/speed`)."""
_ACTIVE: Final = int(State.ACTIVE)


class SampleDetectorBank:
    """The detectors of those rules that are asked where the sound is measured."""

    def __init__(self, scene: Scene, rules: Sequence[FaultRule] = FAULTS) -> None:
        """Start with nothing heard."""
        self._detectors = {
            rule.name: DETECTORS[rule.name](scene)
            for rule in rules
            if rule.name in BESIDE_THE_METER
        }

    def listen(self, ticks: Sequence[Tick]) -> tuple[Tick, ...]:
        """The same ticks with what these detectors say of each."""
        if len(ticks) > 1:
            block = TickBlock([tick.measurement for tick in ticks])
            for name in FORESIGHTED.intersection(self._detectors):
                cast(Any, self._detectors[name]).look_ahead(block)
        return tuple(map(self._listen, ticks))

    def _listen(self, tick: Tick) -> Tick:
        m = tick.measurement
        feed = TickContext(m.end_s, lost_frames=tick.lost_frames)
        said = {name: detector.update(m, feed) for name, detector in self._detectors.items()}
        details = {
            (name, track_index): self._detectors[name].detail(track_index)
            for name, condition in said.items()
            if not condition.quiet
            for track_index in indices(condition.state == _ACTIVE).tolist()
        }
        return replace(tick, heard=SampleFindings(said, details))
