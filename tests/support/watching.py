"""Runs one detector over samples, the way the pipeline does, and keeps what it said."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.detectors.base import Detector, TickContext
from engine.measure.meter import Meter
from engine.model.messages import Condition, Flags, Measurement, Samples, State
from engine.model.tracks import Scene


def measurements(
    samples: Samples, scene: Scene, missing: Flags | None = None
) -> list[tuple[Measurement, TickContext]]:
    """Every whole tick measured, with what the detector may know of how it came."""
    meter = Meter(scene)
    made = []
    for start in range(0, len(samples) - meter.tick_frames + 1, meter.tick_frames):
        span = slice(start, start + meter.tick_frames)
        lost = None if missing is None else missing[span]
        m = meter.update(samples[span], lost)
        made.append((m, TickContext(m.end_s, lost_frames=0 if lost is None else int(lost.sum()))))
    return made


@dataclass(frozen=True, slots=True)
class Told:
    """What was said of one track over time."""

    conditions: list[Condition]
    place: int

    @property
    def states(self) -> list[State]:
        """Tick by tick."""
        return [State(int(c.state[self.place])) for c in self.conditions]

    @property
    def spans_s(self) -> list[tuple[float, float]]:
        """(onset, last seen) of each fault, in order; one onset is one fault."""
        found: dict[float, float] = {}
        for c in self.conditions:
            if c.state[self.place] == State.ACTIVE:
                found[float(c.onset_s[self.place])] = float(c.last_s[self.place])
        return list(found.items())

    @property
    def may_be_red(self) -> bool:
        """Red was allowed at any time."""
        return any(bool(c.may_be_red[self.place]) for c in self.conditions)


def told(
    detector: Detector,
    samples: Samples,
    scene: Scene,
    place: int = 0,
    missing: Flags | None = None,
) -> Told:
    """What the detector says of one track, tick by tick."""
    ticks = measurements(samples, scene, missing)
    return Told([detector.update(m, feed) for m, feed in ticks], place)


def lost(frames: int, *spans: tuple[int, int]) -> Flags:
    """True where frames were lost."""
    missing = np.zeros(frames, dtype=np.bool_)
    for first, last in spans:
        missing[first:last] = True
    return missing
