"""One measured tick as it travels from where it was measured to where it is judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.model.messages import Condition, Measurement


@dataclass(frozen=True, slots=True, eq=False)
class SampleFindings:
    """What detectors said of one tick where it was measured: conditions, and what was seen where.

    Both by the name of the rule; `details` by the place too, of the tracks that are active.
    """

    said: Mapping[str, Condition]
    details: Mapping[tuple[str, int], str]


@dataclass(frozen=True, slots=True, eq=False)
class Tick:
    """One measured tick, `number` ticks from stream time 0; `lost_frames` were lost up to it.

    `heard` is what those detectors said that were asked where it was measured; None: none was.
    """

    number: int
    measurement: Measurement
    lost_frames: int = 0
    heard: SampleFindings | None = None
