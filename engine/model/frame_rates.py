"""Frame counts and timecode labels, in exact arithmetic.

Source: SMPTE ST 12-1 (rates, and drop-frame: the labels 00 and 01 are left out at each minute
except minutes 0, 10, ... 50), as the reference code of libltc and public summaries state it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

_DROPPED: Final = 2
_LABEL: Final = re.compile(r"(\d\d):(\d\d):(\d\d)([:;])(\d\d)")
_SLACK_FRAMES: Final = Fraction(1, 1_000_000)
"""A millionth of a frame, far less than a sample: what a float of seconds may lack."""


@dataclass(frozen=True, slots=True)
class FrameRate:
    """One frame rate: exact frames a second, labels counted a second, drop-frame or not."""

    word: str
    rate: Fraction
    labels_per_s: int
    drop: bool = False

    @property
    def frames_per_day(self) -> int:
        """How many labels there are in 24 hours of labels; 2 589 408 in drop-frame."""
        return self._frames_per_10_min() * 6 * 24

    def _frames_per_10_min(self) -> int:
        return self.labels_per_s * 600 - (9 * _DROPPED if self.drop else 0)

    def label(self, frame: int) -> str:
        """The label hh:mm:ss:ff of a frame counted from 00:00:00:00; wraps round at 24 hours.

        In drop-frame the last separator is a semicolon (common practice, no source).
        """
        frame %= self.frames_per_day
        if self.drop:
            frame += self._dropped_before(frame)
        seconds, frames = divmod(frame, self.labels_per_s)
        minutes, s = divmod(seconds, 60)
        h, m = divmod(minutes, 60)
        return f"{h:02}:{m:02}:{s:02}{';' if self.drop else ':'}{frames:02}"

    def _dropped_before(self, frame: int) -> int:
        """Labels left out up to that frame."""
        tens, rest = divmod(frame, self._frames_per_10_min())
        per_minute = self.labels_per_s * 60 - _DROPPED
        # The first minute of ten is whole, so it is longer by the two labels the others lack.
        in_tens = max(0, rest - _DROPPED) // per_minute
        return _DROPPED * (9 * tens + in_tens)

    def frame(self, label: str) -> int:
        """The frame of a label; either separator is understood.

        Raises
        ------
        ValueError
            Where the text is no label of this rate, or a label that drop-frame leaves out.
        """
        match = _LABEL.fullmatch(label)
        if match is None:
            raise ValueError(f"{label!r} is no timecode: write hh:mm:ss:ff")
        h, m, s, f = (int(match[n]) for n in (1, 2, 3, 5))
        if h > 23 or m > 59 or s > 59 or f >= self.labels_per_s:
            raise ValueError(f"{label} is no timecode at {self.word} frames a second")
        if self.drop and f < _DROPPED and s == 0 and m % 10:
            raise ValueError(f"{label} does not exist in drop-frame timecode")
        minutes = h * 60 + m
        counted = (minutes * 60 + s) * self.labels_per_s + f
        return counted - (_DROPPED * (minutes - minutes // 10) if self.drop else 0)


FRAME_RATES: Final[Mapping[str, FrameRate]] = {
    rate.word: rate
    for rate in (
        FrameRate("23.976", Fraction(24000, 1001), 24),
        FrameRate("24", Fraction(24), 24),
        FrameRate("25", Fraction(25), 25),
        FrameRate("29.97", Fraction(30000, 1001), 30),
        FrameRate("29.97df", Fraction(30000, 1001), 30, drop=True),
        FrameRate("30", Fraction(30), 30),
    )
}
"""The plan's frame rates by their words."""


def frame_at(since_midnight_s: Fraction | float, rate: FrameRate) -> int:
    """The frame that is running at that time: floor(seconds · rate).

    Give the time as `Fraction(samples, sample_rate_hz)` for an exact answer; a float counts as on
    a frame's start where it lacks less than a millionth of a frame.
    """
    frames = Fraction(since_midnight_s) * rate.rate
    return math.floor(frames if isinstance(since_midnight_s, Fraction) else frames + _SLACK_FRAMES)


def label_at(since_midnight_s: Fraction | float, rate: FrameRate) -> str:
    """The timecode label at that time; see `frame_at`. Wraps round at 24 hours of labels."""
    return rate.label(frame_at(since_midnight_s, rate))
