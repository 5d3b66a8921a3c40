"""What a scan found in one take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from engine.alarms.coverage_timeline import CoverageTimeline
from engine.measure.meter import Totals
from engine.model.messages import Incident
from engine.model.pickups import Pickup
from engine.model.tracks import Plan
from engine.pipeline.level_history import LevelHistory
from engine.pipeline.own_marks import OwnMark
from engine.session.records import SignRecord
from engine.sources.base import SourceInfo
from engine.timecode.clock import Origin, TimecodeClock
from engine.timecode.labels import difference

_APART: Final = "the timecode track is {} apart from the file's time reference"


@dataclass(frozen=True, slots=True)
class ScanResult:
    """What a scan found in one take.

    `path` is the take as it was named, `frames` what was really read, `clock` its timecode;
    `disagreements` say where plan and file differ; `marks` are what happened and is no fault.
    `signs` are slow changes, `pickups` who was heard on which other track, by ten seconds.
    """

    path: str
    info: SourceInfo
    plan: Plan
    frames: int
    totals: Totals
    incidents: tuple[Incident, ...]
    clock: TimecodeClock
    history: LevelHistory
    audio_lost_s: float
    disagreements: tuple[str, ...] = ()
    marks: tuple[OwnMark, ...] = ()
    signs: tuple[SignRecord, ...] = ()
    pickups: tuple[Pickup, ...] = ()

    @property
    def duration_s(self) -> float:
        """Length of the take, s."""
        return self.frames / self.info.sample_rate_hz

    @property
    def red(self) -> bool:
        """Something in the take went red."""
        return any(incident.red_s is not None for incident in self.incidents)

    def timecode(self, at_s: float) -> str:
        """Timecode of that moment: LTC where the take has it, else from its time reference or 0."""
        return self.clock.label_at(at_s)[0]

    @property
    def frame_rate(self) -> str:
        """How those labels count: as the code does, else as the plan says."""
        return self.clock.rate_at(0.0).word

    @property
    def timecode_from(self) -> str | None:
        """Where the labels come from, a word of `Origin`; None where nothing tells the time."""
        return timecode_source(self.clock)

    @property
    def notices(self) -> tuple[str, ...]:
        """What the user should know of how the take was read, one line each."""
        ahead = self.clock.ahead_of_reference()
        lines = (*self.info.notices, *self.disagreements)
        if not ahead:
            return lines
        apart = difference(ahead, self.clock.rate_at(0.0))
        return (*lines, f"{_APART.format(apart)}: labels follow the timecode track")

    def coverage(self) -> CoverageTimeline:
        """Which pack of each `who` was healthy when."""
        return CoverageTimeline(self.plan.tracks, self.incidents, self.duration_s)


def timecode_source(clock: TimecodeClock) -> str | None:
    """Where labels come from, as scripts have it: None where there is nothing to go by."""
    origin = clock.label_at(0.0)[1]
    return None if origin is Origin.START else origin.value
