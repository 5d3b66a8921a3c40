"""What every part of the engine passes on: blocks, measurements, conditions, incidents.

All are frozen. Times are seconds on the stream's own scale: frames since the start over the
sample rate. Track arrays run in the order of the plan's tracks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import IntEnum, StrEnum

import numpy as np
from numpy.typing import NDArray

from engine.model.timecode_frames import CodeReading

Samples = NDArray[np.float32]
"""Audio, shape (frames, channels), full scale 1.0."""
Levels = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Kind(StrEnum):
    """What a track carries, as the plan says it."""

    LAV = "lav"
    BOOM = "boom"
    AMBIENCE = "ambience"
    COMMS = "comms"
    TIMECODE = "timecode"
    UNUSED = "unused"


class PackLevel(StrEnum):
    """Which of the two staggered-gain packs of one `who` a track is."""

    MAIN = "main"
    SAFETY = "safety"


class Fault(StrEnum):
    """The catalogue of faults; the values are the words of CONTRACT.md."""

    MUTED = "muted"
    STUCK = "stuck"
    SILENT = "silent"
    DEAD_MIC = "dead_mic"
    DROPOUT = "dropout"
    CRACKLE = "crackle"
    NOISE_BURST = "noise_burst"
    NOISE = "noise"
    CLIPPED = "clipped"
    LOW = "low"
    HUM = "hum"
    TONE = "tone"
    DC = "dc"
    DUPLICATE = "duplicate"
    POLARITY = "polarity"
    PAIR_DRIFT = "pair_drift"
    SWAPPED = "swapped"
    UNEXPECTED = "unexpected"
    TIMECODE = "timecode"
    INPUT_LOST = "input_lost"
    CLOCK = "clock"
    SAMPLES_LOST = "samples_lost"
    NOTHING_YET = "nothing_yet"


class Severity(IntEnum):
    """The two alarm priorities; larger is more urgent."""

    AMBER = 1
    RED = 2

    @property
    def word(self) -> str:
        """The priority in lower case, as files and scripts have it."""
        return self.name.lower()


class AlarmState(StrEnum):
    """Alarm states of ANSI/ISA-18.2-2016 and IEC 62682 that CONTRACT.md names."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out of service"


@dataclass(frozen=True, slots=True)
class Block:
    """Audio as it came from a source.

    `samples` has shape (frames, channels), any number of frames. `lost_frames` frames were lost
    just before it: a gap, never to be measured as silence. `waiting_frames` more were there
    already when it was handed over, about.
    """

    samples: Samples
    lost_frames: int = 0
    waiting_frames: int = 0


@dataclass(frozen=True, slots=True)
class Repeat:
    """A stretch of one track that repeats the sound before it, sample for sample.

    begin_s, end_s : from its first repeated sample to the newest that repeats
    period_s : what is repeated is that long
    ended : it repeats no more; else it does up to the tick's end
    """

    track_index: int
    begin_s: float
    end_s: float
    period_s: float
    ended: bool


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """One tick (100 ms) of every track, measured; `hops` are steps of 10 ms.

    samples : (frames, tracks) float32, contiguous along frames; non-finite samples already zeroed
    peak_max, peak_min : (hops, tracks) signed extremes of the samples
    mean_square : (hops, tracks) unweighted mean square
    valid : (hops, tracks) False where a frame was lost or was no number; such hops say nothing
    lost : (tracks,) frames of this tick that were no numbers (NaN, infinity)
    momentary_lufs, short_term_lufs : (tracks,) at the tick's end; NaN until the window is full
    level_dbfs : (tracks,) AES17 RMS over the last 400 ms
    floor_dbfs : (tracks,) learned live floor, AES17 RMS; NaN while nothing was learned
    presence_dbfs : (tracks,) level above which background or room tone counts as there
    present : (tracks,) signal-present state, with hysteresis
    any_valid : (tracks,) any hop counts
    all_valid : every hop of every track counts
    peak : (hops, tracks) absolute sample peak
    speech : (hops, tracks) at least `SPEECH_DB` above the live floor; False while that is unknown
    decimated : (tracks, frames) float32, the sound at about 2 kHz (`measure.decimate`)
    difference_energy : (hops, tracks) float32, mean square of the step from sample to sample
        (`measure.first_difference`)
    sibilance_energy : (hops, tracks) float32, about 2 to 8 kHz (`measure.sibilance`), of the two
        packs of a `who`; 0 elsewhere
    steps_db : (tracks, steps) float32, AES17 RMS over half a millisecond; NaN where not valid
    peak_at : (hops, tracks) the frame of its hop in which the highest sample lies
    quietest_db : (lengths, tracks) float32, the least level that held for 2.5, 5, 10 and 20 ms and
        ended in this tick (`measure.short_levels`)
    dc_offset : (tracks,) mean of the samples that count, full scale 1.0
    repeats : what repeats itself sample for sample (`measure.repeats`)
    source_stopped : (tracks,) what several tracks heard has stopped: the floor was learned beside
        it and is not known from this tick on (`measure.common_fall`)
    gain_step_db : (tracks,) a gain turned by hand was recognised in this tick, 0 where none was;
        the floor has followed it (`measure.gain_step`)
    timecode : how the code of each timecode track stands, by its track index
    """

    start_s: float
    end_s: float
    hop_s: float
    samples: Samples
    peak_max: Levels
    peak_min: Levels
    mean_square: Levels
    valid: Flags
    lost: NDArray[np.int64]
    momentary_lufs: Levels
    short_term_lufs: Levels
    level_dbfs: Levels
    floor_dbfs: Levels
    presence_dbfs: Levels
    present: Flags
    any_valid: Flags
    all_valid: bool
    peak: Levels
    speech: Flags
    decimated: Samples
    difference_energy: Samples
    sibilance_energy: Samples
    dc_offset: Levels
    source_stopped: Flags
    gain_step_db: Levels
    steps_db: Samples = field(default_factory=lambda: np.zeros((0, 0), np.float32))
    quietest_db: Samples = field(default_factory=lambda: np.zeros((4, 0), np.float32))
    peak_at: NDArray[np.int64] = field(default_factory=lambda: np.zeros((0, 0), np.int64))
    repeats: tuple[Repeat, ...] = ()
    timecode: Mapping[int, CodeReading] = field(default_factory=dict)

    def without_samples(self) -> Measurement:
        """The same, ready to travel to another process."""
        return replace(
            self,
            samples=self.samples[:0],
            steps_db=self.steps_db[:, :0],
            peak_at=self.peak_at[:0, :0],
        )


class State(IntEnum):
    """What a detector can say of a track."""

    UNKNOWN = -1
    CLEAR = 0
    ACTIVE = 1


@dataclass(frozen=True, slots=True, eq=False)
class Condition:
    """What one detector says of every track at the end of a tick; arrays of shape (tracks,).

    state : int8, values of `State`
    onset_s : where the fault itself began; read only where active
    last_s : until when the fault was seen; read only where active
    may_be_red : the fault is of a strength or number that deserves red once its red delay is over
    partners : index of the other track that the fault is about as well, -1 where none; None: no
        track has one
    quiet : active nowhere, and that is known without a look at `state`
    """

    state: NDArray[np.int8]
    onset_s: Levels
    last_s: Levels
    may_be_red: Flags
    partners: NDArray[np.int64] | None = None
    quiet: bool = False


@dataclass(frozen=True, slots=True)
class Incident:
    """One fault of one track (or of a whole receiver or input) from onset to end.

    `track` is the plan's `input` number, None where `tracks` lists several. Times are None where
    not reached. `covered_by` is the input number of the healthy pack of the same `who`.
    """

    id: int
    track: int | None
    fault: Fault
    severity: Severity
    onset_s: float
    amber_s: float | None = None
    red_s: float | None = None
    end_s: float | None = None
    covered_by: int | None = None
    uncovered: bool = False
    detail: str = ""
    tracks: tuple[int, ...] = ()
    part_of: str | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An incident as the crew sees it: with its alarm state.

    `seen_s` is when it was acknowledged; `until_s` when a shelving ends by itself (None: until
    put back by hand); `unstable` marks a chattering alarm.
    """

    incident: Incident
    state: AlarmState
    seen_s: float | None = None
    until_s: float | None = None
    unstable: bool = False


class EventKind(StrEnum):
    """What happened to an alarm; one line of the log each."""

    RAISED = "raised"
    ESCALATED = "escalated"
    RENAMED = "renamed"
    CLEARED = "cleared"
    SEEN = "seen"
    UNSEEN = "unseen"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"
    UNSUPPRESSED = "unsuppressed"
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "in service"


@dataclass(frozen=True, slots=True)
class AlarmEvent:
    """One change of one alarm at `at_s`, with its label; `audible`: it deserves a chime."""

    kind: EventKind
    at_s: float
    alarm: Alarm
    audible: bool = False
    timecode: str = ""
