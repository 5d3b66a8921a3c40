"""Follows one track's code from frame to frame: does it go on, jump, stand still, at which rate?

A label that does not fit may be a misread one, so it counts as a jump only when the next frame
goes on from it. The rate is not in the code: it shows in the highest frame number before a new
second, and 24 from 23.976 (30 from 29.97) only in how long frames last over seconds.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from engine.model.frame_rates import FRAME_RATES, FrameRate
from engine.model.timecode_frames import CodeFrame, CodeReading, Jump

STILL_S: Final = 0.5
"""One label for this long is code that stands still; for less, a frame that came twice."""

STOPPED_S: Final = 0.7
"""Without a fitting frame for this long the code does not move; standing still shows earlier."""

RATE_S: Final = 2.0
"""Frames are timed over this long: an error of one sample is then 10 ppm."""

RATE_WITHIN: Final = 4e-4
"""Rates of one family are 1e-3 apart; two clocks are hardly ever 1e-4 apart."""

_CLOCKS_APART: Final = 1e-4
_LONG_S: Final = 5.0
"""After a longer gap two clocks may have run a frame apart."""

_ROUND: Final = {24: "24", 25: "25", 30: "30"}


@dataclass(frozen=True, slots=True)
class _Seen:
    """A frame with its place in stream time and in the count."""

    at_s: float
    length_s: float
    index: int
    frame: CodeFrame

    @property
    def end_s(self) -> float:
        return self.at_s + self.length_s


class Follower:
    """The code of one track; `planned` is the plan's rate, by which labels count at first."""

    def __init__(self, planned: FrameRate, sample_rate_hz: int) -> None:
        self._planned = planned
        self._sample_rate_hz = sample_rate_hz
        self.reset()

    def reset(self) -> None:
        """Forget the code heard so far."""
        self._rate = self._planned
        self._last: _Seen | None = None
        self._repeat: _Seen | None = None
        self._repeats = 0
        self._odd: _Seen | None = None
        self._run: _Seen | None = None
        self._sure = False
        self._times: deque[_Seen] = deque()
        self._measured = ""
        self._jump: Jump | None = None
        self._valid_s = math.nan

    def update(self, frames: Sequence[CodeFrame], now_s: float) -> CodeReading:
        """Take in the frames decoded in the tick that ends at `now_s`."""
        self._jump = None
        for frame in frames:
            self._take(frame)
        last, run = self._last, self._run
        still_s = self._still_s(now_s)
        recent = last is not None and now_s - last.end_s < STOPPED_S
        return CodeReading(
            frames=tuple(frames),
            valid_s=self._valid_s,
            label="" if last is None else last.frame.label,
            newest=None if last is None else (last.at_s, last.index),
            run_s=math.nan if run is None else run.at_s,
            run_frame=0 if run is None else run.index,
            rate=self._rate,
            measured=self._measured,
            measured_since_s=math.nan if run is None else run.at_s,
            still_s=still_s,
            moving=recent and math.isnan(still_s) and last is not run,
            reverse=recent and last is not None and last.frame.reverse,
            jump=self._jump,
        )

    def _still_s(self, now_s: float) -> float:
        repeat, last = self._repeat, self._last
        if repeat is None or last is None or now_s - repeat.end_s >= STOPPED_S:
            return math.nan
        return last.end_s if repeat.end_s - last.end_s >= STILL_S else math.nan

    def _take(self, frame: CodeFrame) -> None:
        self._count_by(frame)
        seen = self._seen(frame)
        if seen is None:
            return
        self._valid_s = seen.end_s
        last = self._last
        if last is None:
            self._begin(seen)
        elif self._goes_on(last, seen):
            self._go_on(seen)
        elif seen.index == last.index:
            self._repeat, self._odd = seen, None
            self._repeats += 1
        elif self._odd is not None and self._goes_on(self._odd, seen):
            self._jumped(last, self._odd, seen)
        else:
            self._odd = seen

    def _seen(self, frame: CodeFrame) -> _Seen | None:
        """None for a label that does not exist at this rate."""
        try:
            index = self._rate.frame(frame.label)
        except ValueError:
            return None
        hz = self._sample_rate_hz
        return _Seen(frame.start_frames / hz, frame.length_frames / hz, index, frame)

    def _goes_on(self, before: _Seen, seen: _Seen) -> bool:
        if before.frame.reverse is not seen.frame.reverse:
            return False
        apart_s = seen.at_s - before.at_s
        steps = round(apart_s / self._length_s(before, seen))
        if steps < 1:
            return False
        ahead = self._ahead(seen.index, before.index)
        wanted = -steps if seen.frame.reverse else steps
        slack = 0 if apart_s < _LONG_S else 1 + int(steps * _CLOCKS_APART)
        return abs(ahead - wanted) <= slack

    def _length_s(self, before: _Seen, seen: _Seen) -> float:
        """How long a frame lasts, from many of them where there are many."""
        if len(self._times) > 1:
            first, last = self._times[0], self._times[-1]
            if last.index != first.index:
                return (last.at_s - first.at_s) / abs(self._ahead(last.index, first.index))
        return 0.5 * (before.length_s + seen.length_s)

    def _ahead(self, index: int, of: int) -> int:
        """Frames from `of` to `index`, the shorter way round the day."""
        day = self._rate.frames_per_day
        return (index - of + day // 2) % day - day // 2

    def _begin(self, seen: _Seen) -> None:
        self._last = self._run = seen
        self._repeat = self._odd = None
        self._repeats = 0
        self._measured = ""
        self._times = deque([seen])

    def _go_on(self, seen: _Seen) -> None:
        self._last, self._odd = seen, None
        self._repeat, self._repeats = None, 0
        times = self._times
        if not times or seen.at_s - times[-1].at_s >= RATE_S / 4:
            times.append(seen)
            if seen.at_s - times[0].at_s >= RATE_S:
                self._measure(times[0], seen)
            while len(times) > 1 and seen.at_s - times[1].at_s >= RATE_S:
                times.popleft()

    def _jumped(self, last: _Seen, first: _Seen, seen: _Seen) -> None:
        """The code went on from `first`, which is not what followed `last`.

        By the frames' own lengths, that is: in noise one may be measured wrong, and over a gap of
        many frames the count with it. What is due by the nominal rate is no jump.
        """
        if first.frame.reverse is last.frame.reverse and self._is_due(last, first):
            self._go_on(first)
            self._go_on(seen)
            return
        repeat, repeats = self._repeat, self._repeats
        still = repeat is not None and repeat.end_s - last.end_s >= STILL_S
        turned = last.frame.reverse is not seen.frame.reverse
        lost_s = max(0.0, first.at_s - (repeat or last).end_s)
        if not (still or turned):
            steps = round((first.at_s - last.at_s) / self._length_s(last, first))
            index = last.index if repeats else last.index + max(steps - 1, 0)
            at_s = last.end_s if repeats else first.at_s
            before = self._rate.label(index)
            self._jump = Jump(at_s, before, first.frame.label, repeats, lost_s)
        self._begin(first)
        self._go_on(seen)

    def _is_due(self, last: _Seen, first: _Seen) -> bool:
        """That label is due at that time, half a frame and no more apart, at the nominal rate."""
        due = (first.at_s - last.at_s) * float(self._rate.rate)
        ahead = self._ahead(first.index, last.index)
        return abs((-ahead if first.frame.reverse else ahead) - due) < 0.5

    # ---- rate --------------------------------------------------------------------------------

    def _count_by(self, frame: CodeFrame) -> None:
        """Change the way of counting where the code shows that it counts another way."""
        last = self._last.frame if self._last is not None else None
        labels = self._rate.labels_per_s
        if last is not None and _next_second(last, frame):
            labels = last.frames + 1
        elif frame.frames >= labels:
            labels = 25 if frame.frames == 24 else 30
        elif frame.drop:
            labels = 30
        if (labels, frame.drop) != (self._rate.labels_per_s, self._rate.drop):
            self._count_as(labels, frame.drop)
        elif last is not None and _next_second(last, frame):
            self._sure = True

    def _count_as(self, labels: int, drop: bool) -> None:
        """Count anew: the whole run where its rate was only assumed, else from the last frame."""
        planned = self._planned
        fits = (planned.labels_per_s, planned.drop) == (labels, drop)
        self._rate = planned if fits else FRAME_RATES["29.97df" if drop else _ROUND[labels]]
        run, last = self._run, self._last
        begin = last if self._sure else run
        self._sure = False
        self._run = self._last = None
        if begin is None or last is None:
            return
        first, newest = self._seen(begin.frame), self._seen(last.frame)
        if first is not None and newest is not None:
            self._begin(first)
            self._last = newest

    def _measure(self, first: _Seen, last: _Seen) -> None:
        """Name the rate once it is sure how the labels count."""
        if not self._sure:
            return
        ahead = abs(self._ahead(last.index, first.index))
        rate = ahead / (last.at_s - first.at_s)
        family = (self._rate.labels_per_s, self._rate.drop)
        pairs = self._planned.frames_per_label  # the code itself does not tell
        alike = [
            r
            for r in FRAME_RATES.values()
            if (r.labels_per_s, r.drop) == family and r.frames_per_label == pairs
        ]
        best = min(alike, key=lambda r: abs(rate / float(r.rate) - 1.0))
        if abs(rate / float(best.rate) - 1.0) <= RATE_WITHIN:
            self._rate, self._measured = best, best.word
        else:
            self._measured = f"{rate:.2f}"


def _next_second(before: CodeFrame, after: CodeFrame) -> bool:
    """The second frame follows the first one directly, and a new second begins with it."""
    seconds = [f.seconds + 60 * (f.minutes + 60 * f.hours) for f in (before, after)]
    directly = abs(after.start_frames - before.start_frames - before.length_frames) < (
        0.1 * before.length_frames
    )
    first = 2 if after.drop and after.seconds == 0 and after.minutes % 10 else 0
    return (
        directly
        and not after.reverse
        and (seconds[1] - seconds[0]) % 86_400 == 1
        and before.frames + 1 in _ROUND
        and after.frames == first
    )
