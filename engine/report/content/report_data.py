"""All that a report says, before it becomes a page, a table or a script's JSON. Frozen data.

Times are seconds on the take's own scale; `Section.timecode` names any of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from engine.alarms.coverage_timeline import Stretch, WhoCoverage
from engine.model.frame_rates import FRAME_RATES
from engine.model.messages import Incident
from engine.model.pickups import Pickup
from engine.model.tracks import Plan, Track
from engine.pipeline.level_history import LevelHistory
from engine.pipeline.scan_document import Failure
from engine.report.content.beside_alarms import BesideAlarms
from engine.session.plan_history import PlanHistory
from engine.session.records import SignRecord
from engine.timecode.labels import first_after


@dataclass(frozen=True, slots=True)
class Done:
    """One thing somebody did about an incident, in words; `by` is the user, empty if unknown."""

    at_s: float
    text: str
    by: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Excerpt:
    """Sound around an onset: from `start_s` on, steps of `wave_step_s` and `level_step_s`.

    low, high : (steps,) float32, extremes of the samples; None where only levels were kept
    level_dbfs : (steps,) AES17 RMS, or the sample peak where `is_peak`; NaN unknown
    """

    start_s: float
    level_step_s: float
    level_dbfs: NDArray[np.float32]
    is_peak: bool = False
    wave_step_s: float = 0.0
    low: NDArray[np.float32] | None = None
    high: NDArray[np.float32] | None = None

    @property
    def end_s(self) -> float:
        """Where it ends, s."""
        return self.start_s + len(self.level_dbfs) * self.level_step_s


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """One incident as the report tells it; `number` is its place by onset, from 1.

    `track` is None for a fault of several. `instead` is which pack to use instead, stretch by
    stretch; empty where no other pack is worn. `spoils`: the audio is unusable. `signs` were there
    before it; `heard_on` is the other track that heard a performer whom nothing covers.
    """

    number: int
    incident: Incident
    word: str
    check_first: str
    spoils: bool
    start_s: float
    end_s: float
    track: Track | None
    instead: tuple[Stretch, ...]
    done: tuple[Done, ...] = ()
    signs: tuple[SignRecord, ...] = ()
    heard_on: Pickup | None = None
    excerpt: Excerpt | None = None

    @property
    def lasts(self) -> bool:
        """It had not ended when the take did."""
        return self.incident.end_s is None

    @property
    def length_s(self) -> float:
        """From onset to end, or to the take's end, s."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class TrackFigures:
    """What was measured of one track; None where there is no level or it was not measured."""

    track: Track
    integrated_lufs: float | None = None
    momentary_max_lufs: float | None = None
    short_term_max_lufs: float | None = None
    true_peak_max_dbtp: float | None = None
    sample_peak_max_dbfs: float | None = None
    rms_dbfs: float | None = None
    noise_floor_dbfs: float | None = None
    present_fraction: float | None = None


@dataclass(frozen=True, slots=True)
class Break:
    """A stretch in which the watch heard nothing, or was told not to alarm; why, in words."""

    start_s: float
    end_s: float
    text: str
    lost: bool = True


@dataclass(frozen=True, slots=True)
class Note:
    """A line at a moment: a mark, a battery put in, a line check's answer."""

    at_s: float
    text: str
    by: str = ""
    track: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """One take or one session.

    fields : what the file or the log says of itself, in the order to show
    timecode : the label of any moment; `timecode_from` says where labels come from, in words, and
        `timecode_origin` as scripts have it: a word of `Origin`, None where nothing tells the time
    honest : what the watch itself missed or does not know, one line each
    start_s : time since midnight of stream time 0, to place round labels on the axis
    tracks_note : what is not known of the tracks, and why
    crew : somebody could answer alarms (a session), so that times to answer mean something
    timecode_offset : how far LTC is ahead of the file's reference, "" where it is not
    user_bits : what the user bits of LTC say, "" where there are none
    path : the take's file or folder as it was named, "" where there is none
    plans : every plan that held; None: `plan` alone
    beside : early signs, who was heard where, and what was listened to
    earlier : how often each pack and receiver failed in earlier sessions, newest first
    """

    name: str
    plan: Plan
    sample_rate_hz: int
    duration_s: float
    frame_rate: str
    timecode: Callable[[float], str]
    timecode_from: str
    entries: tuple[Entry, ...]
    tracks: tuple[TrackFigures, ...]
    whos: tuple[WhoCoverage, ...]
    history: LevelHistory
    fields: Mapping[str, str] = field(default_factory=dict)
    start_s: float = 0.0
    honest: tuple[str, ...] = ()
    breaks: tuple[Break, ...] = ()
    marks: tuple[Note, ...] = ()
    line_check: tuple[Note, ...] = ()
    batteries: tuple[Note, ...] = ()
    tracks_note: str = ""
    crew: bool = False
    timecode_origin: str | None = None
    timecode_offset: str = ""
    user_bits: str = ""
    path: str = ""
    plans: PlanHistory | None = None
    beside: BesideAlarms = field(default_factory=BesideAlarms)
    earlier: tuple[Mapping[tuple[str, str], int], ...] = ()

    def track(self, number: int, at_s: float) -> Track | None:
        """That input as the plan had it at that time."""
        plans = self.plans or PlanHistory(((0.0, self.plan),))
        return plans.track(number, at_s)

    def timecode_out(self, at_s: float) -> str:
        """The label of an Out point: the first whole frame from that moment on."""
        return first_after(self.timecode, at_s, FRAME_RATES[self.frame_rate])

    def span(self, start_s: float, end_s: float) -> str:
        """From In to Out, in labels."""
        return f"{self.timecode(start_s)} to {self.timecode_out(end_s)}"


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """A whole report: its heading, what could not be read, then a section a take."""

    title: str
    heading: tuple[tuple[str, str], ...]
    made_by: str
    sections: tuple[Section, ...]
    failures: tuple[Failure, ...] = ()
