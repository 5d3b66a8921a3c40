"""Frame counts and timecode labels, in exact arithmetic.

Source: SMPTE ST 12-1 (rates, and drop-frame: the labels 00 and 01 are left out at each minute
except minutes 0, 10, ... 50; at 48 to 60 frames a second one label counts a pair of frames), as
the reference code of libltc and public summaries state it. SMPTE ST 12-3 (2016; by its published
scope it has counts of 72, 96, 100 and 120, and of 120 with drop-frame; that one label counts four
of the last is from memory).
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
_SPELLING: Final = Fraction(1, 200)
"""23.98 is 0.004 off; the nearest two rates are 0.024 apart."""

_SLACK_FRAMES: Final = Fraction(1, 1_000_000)
"""A millionth of a frame, far less than a sample: what a float of seconds may lack."""


@dataclass(frozen=True, slots=True)
class FrameRate:
    """One frame rate, and how its labels count.

    rate : labels a second, exact: frames a second up to 30, above that pairs or fours of frames
    labels_per_s : labels from one second's label to the next
    frames_per_label : 1, 2 or 4
    """

    word: str
    rate: Fraction
    labels_per_s: int
    drop: bool = False
    frames_per_label: int = 1

    @property
    def frames_per_s(self) -> Fraction:
        """Frames of the picture a second, exact."""
        return self.rate * self.frames_per_label

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


_WORDS: Final = (
    (Fraction(24000, 1001), False, ("23.976", "47.952", "95.904")),
    (Fraction(24), False, ("24", "48", "96")),
    (Fraction(25), False, ("25", "50", "100")),
    (Fraction(30000, 1001), False, ("29.97", "59.94", "119.88")),
    (Fraction(30000, 1001), True, ("29.97df", "59.94df", "119.88df")),
    (Fraction(30), False, ("30", "60", "120")),
)
"""Labels a second, drop-frame or not, and the words with one, two and four frames a label."""

FRAME_RATES: Final[Mapping[str, FrameRate]] = {
    words[power]: FrameRate(words[power], rate, math.ceil(rate), drop, 2**power)
    for power in range(3)
    for rate, drop, words in _WORDS
}
"""Every frame rate by the plan's word for it."""


CODE_RATES: Final = {word: rate for word, rate in FRAME_RATES.items() if rate.frames_per_label == 1}
"""Those that code can be told to run at: it does not say how many frames a label stands for."""


def frame_rate_of(frames_per_s: Fraction, *, drop: bool) -> FrameRate | None:
    """The rate of that many frames a second; None where neither standard counts it.

    Decimal spellings such as 29.97 and 23.98 stand for the exact fractions.
    """
    for rate in FRAME_RATES.values():
        apart = abs(frames_per_s - rate.frames_per_s)
        if rate.drop is drop and apart < _SPELLING * rate.frames_per_label:
            return rate
    return None


def frame_at(since_midnight_s: Fraction | float, rate: FrameRate) -> int:
    """The frame that is running at that time: floor(seconds · rate).

    Give the time as `Fraction(samples, sample_rate_hz)` for an exact answer; a float counts as on
    a frame's start where it lacks less than a millionth of a frame.
    """
    frames = Fraction(since_midnight_s) * rate.rate
    return math.floor(frames if isinstance(since_midnight_s, Fraction) else frames + _SLACK_FRAMES)


def frame_of_day(since_midnight_s: Fraction | float, rate: FrameRate) -> int:
    """The frame whose label is that time of day: hours, minutes and seconds of the clock.

    At 23.976 and 29.97 without drop-frame labels that count frames fall behind a clock by 3.6 s an
    hour; here each second of the clock has all of its labels, so that the label stays the time.
    """
    if rate.drop or rate.rate == rate.labels_per_s:
        return frame_at(since_midnight_s, rate)
    time_s = Fraction(since_midnight_s)
    if not isinstance(since_midnight_s, Fraction):
        time_s += _SLACK_FRAMES / rate.rate
    return math.floor(time_s * rate.labels_per_s)


def label_at(since_midnight_s: Fraction | float, rate: FrameRate) -> str:
    """The timecode label at that time; see `frame_at`. Wraps round at 24 hours of labels."""
    return rate.label(frame_at(since_midnight_s, rate))
