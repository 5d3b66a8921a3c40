"""The running timecode of a watch: which label any moment of the stream had, and where from.

From LTC where a track decodes; on loss it runs on by the sample clock. Before any LTC, a take
counts from its time reference, a live watch from the time of day.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import Final

from engine.model.frame_rates import FrameRate, frame_at, frame_of_day
from engine.model.timecode_frames import CodeReading

ANCHOR_S: Final = 1.0
"""A frame a second is remembered: 12 hours take some megabytes."""

HOLD_S: Final = 0.5
"""A gap in the code this long at most is no loss."""

_SLACK_SAMPLES: Final = 2.0
"""Frames are timed to about a sample: a moment that near before one counts as on it."""


class Origin(StrEnum):
    """Where a label comes from; START: it only counts from the take's start."""

    LTC = "ltc"
    FREE_RUNNING = "ltc free-running"
    FILE = "file"
    START = "start"
    TIME_OF_DAY = "time of day"


@dataclass(frozen=True, slots=True)
class Reference:
    """Time since midnight of stream time 0, seconds, and whether a file or the day says so."""

    since_midnight_s: Fraction = Fraction(0)
    origin: Origin = Origin.FILE

    @classmethod
    def of(cls, start_s: float, sample_rate_hz: int, *, live: bool) -> Reference:
        """From seconds, exact to a sample: of the day where `live`, else of the take."""
        since = Fraction(round(start_s * sample_rate_hz), sample_rate_hz)
        return cls(since, Origin.TIME_OF_DAY if live else Origin.FILE)


@dataclass(slots=True)
class _Stretch:
    """Code that ran (or stood still) without a jump; anchors are frames with their start."""

    rate: FrameRate
    at_s: list[float]
    frame: list[int]
    newest: tuple[float, int]
    decoded_s: list[tuple[float, float]] = field(default_factory=list)
    still: bool = False
    slack_frames: float = 0.0

    def has_code(self, at_s: float) -> bool:
        """Code was decoded then, or at most `HOLD_S` before or after."""
        n = bisect_right(self.decoded_s, (at_s + HOLD_S, math.inf)) - 1
        return n >= 0 and at_s < self.decoded_s[n][1] + HOLD_S

    def add_code(self, from_s: float, until_s: float) -> None:
        """Code was decoded in that time."""
        if self.decoded_s and from_s - self.decoded_s[-1][1] <= HOLD_S:
            from_s = self.decoded_s.pop()[0]
        self.decoded_s.append((from_s, until_s))

    def add(self, at_s: float, frame: int) -> None:
        """Take in the newest frame; now and then it is kept."""
        if at_s - self.at_s[-1] >= ANCHOR_S:
            self.at_s.append(at_s)
            self.frame.append(frame)
        self.newest = (at_s, frame)

    def frame_at(self, at_s: float) -> int:
        """Between two frames known in proportion, beyond them at the pace of the nearest two."""
        after = bisect_right(self.at_s, at_s)
        if self.still:
            return self.frame[0]
        if after == 0:
            base, other = self._known(0), self._known(1)
        elif at_s < self.newest[0]:
            base, other = self._known(after - 1), self._known(after)
        else:
            base, other = self.newest, self._known(max(len(self.at_s) - 2, 0))
        frames = (at_s - base[0]) * self._pace(base, other, at_s)
        return base[1] + math.floor(frames + self.slack_frames)

    def _known(self, n: int) -> tuple[float, int]:
        """The n-th anchor, or after the last one the newest frame."""
        if n < len(self.at_s):
            return self.at_s[n], self.frame[n]
        return self.newest

    def _pace(self, base: tuple[float, int], other: tuple[float, int], at_s: float) -> float:
        """Frames a second; the nominal ones where two frames are too near to tell beyond them."""
        apart_s = other[0] - base[0]
        between = base[0] <= at_s <= other[0] and apart_s > 0.0
        if not between and abs(apart_s) < ANCHOR_S / 2:
            return float(self.rate.rate)
        return self._ahead(other[1] - base[1]) / apart_s

    def _ahead(self, frames: int) -> int:
        day = self.rate.frames_per_day
        return (frames + day // 2) % day - day // 2


class TimecodeClock:
    """Names every moment of one watch, past and present; grows by a few bytes a second."""

    def __init__(
        self, rate: FrameRate, sample_rate_hz: int, reference: Reference | None = None
    ) -> None:
        self._planned = rate
        self._sample_rate_hz = sample_rate_hz
        self._reference = reference or Reference()
        self._begins_s: list[float] = []
        self._stretches: list[_Stretch] = []
        self._takes_s = [0.0]
        self._key: tuple[object, ...] = ()
        self._last_bits: int | None = None
        self.user_bits: int | None = None
        """The user bits of the first code that had the same in two frames; None before that."""

    def update(self, readings: Mapping[int, CodeReading]) -> None:
        """Take in one tick: the first track that gives code now says what time it is."""
        for track_index, reading in sorted(readings.items()):
            if reading.frames and reading.newest is not None:
                self._follow(track_index, reading)
                self._keep_user_bits(reading)
                return

    def _keep_user_bits(self, reading: CodeReading) -> None:
        if self.user_bits is None:
            for frame in reading.frames:
                if frame.user_bits == self._last_bits:
                    self.user_bits = frame.user_bits
                    return
                self._last_bits = frame.user_bits

    def _follow(self, track_index: int, reading: CodeReading) -> None:
        assert reading.newest is not None
        still = not math.isnan(reading.still_s)
        family = (reading.rate.labels_per_s, reading.rate.drop)
        key = (track_index, reading.run_s, still, family)
        if key != self._key:
            begin = (reading.run_s, reading.run_frame)
            if self._key and track_index != self._key[0]:  # another track named what came before
                begin = reading.newest
            if still:
                begin = (reading.still_s, reading.newest[1])
            self._key = key
            self._begin(begin, reading, still)
        stretch = self._stretches[-1]
        stretch.rate = reading.rate
        stretch.add(*reading.newest)
        stretch.add_code(reading.frames[0].start_frames / self._sample_rate_hz, reading.valid_s)

    def _begin(self, begin: tuple[float, int], reading: CodeReading, still: bool) -> None:
        """A new stretch; one that began no earlier was counted another way, and is replaced."""
        while self._begins_s and self._begins_s[-1] >= begin[0]:
            self._begins_s.pop()
            self._stretches.pop()
        new = _Stretch(reading.rate, [begin[0]], [begin[1]], begin, still=still)
        new.slack_frames = _SLACK_SAMPLES * float(reading.rate.rate) / self._sample_rate_hz
        new.add_code(begin[0], reading.valid_s)
        self._begins_s.append(max(begin[0], self._takes_s[-1]))
        self._stretches.append(new)

    def ahead_of_reference(self) -> int | None:
        """Labels that the first code is ahead of what the file's time reference says there.

        None where there is no code or no reference. A label is counted as another one only where
        it is more than half a frame off.
        """
        if not self._stretches or self._reference.origin is not Origin.FILE:
            return None
        stretch = self._stretches[0]
        rate = stretch.rate
        time_s = self._reference.since_midnight_s + Fraction(stretch.at_s[0])
        day = rate.frames_per_day
        ahead = stretch.frame[0] - round(time_s * rate.rate)
        return (ahead + day // 2) % day - day // 2

    def rewind(self, at_s: float) -> None:
        """The take begins anew at that stream time."""
        self._takes_s.append(at_s)
        self._key = ()

    def rate_at(self, at_s: float) -> FrameRate:
        """How labels count at that moment."""
        stretch = self._stretch(at_s)
        return self._planned if stretch is None else stretch.rate

    def label_at(self, at_s: float) -> tuple[str, Origin]:
        """The label of that moment of the stream, seconds, and where it comes from."""
        stretch = self._stretch(at_s)
        if stretch is None:
            into_s = at_s - self._takes_s[bisect_right(self._takes_s, at_s) - 1]
            samples = round(into_s * self._sample_rate_hz)
            time_s = self._reference.since_midnight_s + Fraction(samples, self._sample_rate_hz)
            origin = self._reference.origin
            named = frame_of_day if origin is Origin.TIME_OF_DAY else frame_at
            return self._planned.label(named(time_s, self._planned)), origin
        origin = Origin.LTC if stretch.has_code(at_s) else Origin.FREE_RUNNING
        return stretch.rate.label(stretch.frame_at(at_s)), origin

    def _stretch(self, at_s: float) -> _Stretch | None:
        """The stretch that names that moment; None where the reference does.

        Code names what came before it, too, in one take; a live watch had the time of day then.
        """
        n = bisect_right(self._begins_s, at_s) - 1
        take = bisect_right(self._takes_s, at_s)
        if n >= 0 and self._begins_s[n] >= self._takes_s[take - 1]:
            return self._stretches[n]
        next_take_s = self._takes_s[take] if take < len(self._takes_s) else math.inf
        early_s = HOLD_S if self._reference.origin is Origin.TIME_OF_DAY else math.inf
        later = self._begins_s[n + 1] if n + 1 < len(self._begins_s) else math.inf
        if later < next_take_s and later - at_s <= early_s:
            return self._stretches[n + 1]
        return None
