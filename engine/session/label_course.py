"""When the labels of a stream no longer count on from the last one that was written down.

Code comes, jumps, or runs on another clock than the interface's: then the log needs a row, so that
the label of any moment can be counted on from the row before it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from engine.model.frame_rates import FrameRate, frame_at

_SAME_FRAMES: Final = 1
"""Labels are whole frames, each rounded down: one apart may be the same course."""

_EXACT_S: Final = 1e-3


class LabelCourse:
    """`label` gives the label of a stream time, s, of the last seconds at least; labels are asked
    for from `begin_s` on."""

    def __init__(
        self, label: Callable[[float], str], rate: FrameRate, begin_s: float = 0.0
    ) -> None:
        self._label, self._rate = label, rate
        self._row: tuple[float, int] | None = None
        self._good_s = begin_s

    def turn(self, at_s: float) -> float | None:
        """The moment from which on labels count anew, where that came to pass by `at_s`.

        To be asked every second or so; of several turns since then it tells one.
        """
        try:
            if self._row is None:
                begin_s = at_s
                self._row = (at_s, self._rate.frame(self._label(at_s)))
                if self._counts_on(self._good_s):
                    begin_s = self._good_s
            elif self._counts_on(at_s):
                self._good_s = at_s
                return None
            else:
                begin_s = self._bisect(self._good_s, at_s)
            self._row = (begin_s, self._rate.frame(self._label(begin_s)))
        except ValueError:  # no label of this rate: what stands in the log goes on
            return None
        self._good_s = at_s
        return begin_s

    def _counts_on(self, at_s: float) -> bool:
        assert self._row is not None
        row_s, frame = self._row
        day = self._rate.frames_per_day
        passed = frame_at(at_s, self._rate) - frame_at(row_s, self._rate)
        apart = self._rate.frame(self._label(at_s)) - frame - passed
        return abs((apart + day // 2) % day - day // 2) <= _SAME_FRAMES

    def _bisect(self, good_s: float, off_s: float) -> float:
        while off_s - good_s > _EXACT_S:
            middle_s = 0.5 * (good_s + off_s)
            if self._counts_on(middle_s):
                good_s = middle_s
            else:
                off_s = middle_s
        return off_s
