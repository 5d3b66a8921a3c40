"""Timecode as it was heard: plain data that measures, detectors and the clock pass on."""

from __future__ import annotations

from dataclasses import dataclass

from engine.model.frame_rates import FrameRate


@dataclass(frozen=True, slots=True)
class CodeFrame:
    """One LTC frame of SMPTE ST 12-1.

    start_frames : where it begins, in audio frames since the stream began, between samples too;
        of a frame played backwards, where it begins to be heard
    length_frames : how long its 80 bits take, in audio frames
    drop : the drop-frame flag
    user_bits : the eight binary groups as they come, the first in the lowest four bits
    reverse : it was played backwards
    """

    hours: int
    minutes: int
    seconds: int
    frames: int
    drop: bool
    user_bits: int
    start_frames: float
    length_frames: float
    reverse: bool = False

    @property
    def label(self) -> str:
        """hh:mm:ss:ff, the last separator a semicolon in drop-frame."""
        mark = ";" if self.drop else ":"
        return f"{self.hours:02}:{self.minutes:02}:{self.seconds:02}{mark}{self.frames:02}"


@dataclass(frozen=True, slots=True)
class Jump:
    """The code went on elsewhere: from the last label before to the first after it.

    `repeats` counts how often the label before came again first; `lost_s` is how long there was
    no code in between.
    """

    at_s: float
    before: str
    after: str
    repeats: int = 0
    lost_s: float = 0.0


@dataclass(frozen=True, slots=True)
class CodeReading:
    """How the code of one track stands at the end of a tick; times are stream seconds.

    frames : decoded in this tick, just as they came
    valid_s : end of the last valid frame; NaN where there never was one
    newest : start and frame number of the newest frame that fits in, counted by `rate`
    run_s, run_frame : the same of the first frame since the last jump or stop
    rate : how the labels count; `measured` is the plan's word of the rate that was measured over
        seconds, or frames a second with two decimals; '' until that is known
    still_s : since when one label comes again and again; NaN where it does not
    moving : the code goes on from label to label
    """

    frames: tuple[CodeFrame, ...]
    valid_s: float
    label: str
    newest: tuple[float, int] | None
    run_s: float
    run_frame: int
    rate: FrameRate
    measured: str
    measured_since_s: float
    still_s: float
    moving: bool
    reverse: bool
    jump: Jump | None
