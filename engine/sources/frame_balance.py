"""Whether as many frames came as the clock says: audio can be lost without anybody's word.

A computer that stops for seconds (it swaps, or is stopped) loses what its drivers could not hold,
and not every driver says so. All that is timed by frames would then be late for the rest of the
night. So frames are held against the steady clock.
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final

LEAST_LOST_S: Final = 0.2
"""A smaller difference may be the jitter of a busy computer; it adds up to a larger one. Ours."""

LEAST_AFTER_LOSS_S: Final = 0.08
"""Right after a loss a smaller difference is what was missed of it. Ours: over `SETTLED_S`."""

UNSURE_S: Final = 5.0
"""For so long after a loss. Ours."""

BIN_S: Final = 0.25
SETTLED_BINS: Final = 3
"""While what waited is handed over, frames come faster than time goes. The balance is struck once
the promptest block of each of three quarters of a second is equally late. Ours."""

SETTLED_S: Final = 0.06
"""So near must they be. Ours, measured: PulseAudio hands over in pieces of up to 50 ms."""

WAITING_S: Final = 0.05
"""More than this waiting for the engine: not all that came was counted yet. Ours."""

YOUNG_S: Final = 3.0
MOST_FALL_S: Final = 0.002
"""What is usual may fall freely while the stream is young, then by so much in a quarter of a
second. Ours."""

SLEW: Final = 500e-6
"""So fast may the interface's clock and the computer's run apart beyond the drift that is known:
as fast as NTP may slew the computer's (adjtimex(2))."""


class FrameBalance:
    """Counts the frames of one stream against the clock."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._frames = 0
        self._start_s: float | None = None
        self._usual_s: float | None = None
        self._bin_end_s = 0.0
        self._promptest_s: float | None = None
        self._recent: deque[float] = deque(maxlen=SETTLED_BINS)
        self._unsure_until = -math.inf

    def look_closely(self, now_s: float) -> None:
        """Audio was lost, by whatever count: what is left of it may be small."""
        self._unsure_until = now_s + UNSURE_S

    def add(self, now_s: float, frames: int, waiting_frames: int, drift_ppm: float | None) -> int:
        """Count frames that have come by `now_s`, lost ones that are known included.

        Returns how many more must have been lost: 0 nearly always. `drift_ppm` is how much faster
        the interface's clock runs than the computer's, as far as known.
        """
        if self._start_s is None:
            self._start_s, self._bin_end_s = now_s, now_s + BIN_S
            return 0
        self._frames += frames
        late_s = now_s - self._start_s - self._frames / self._rate_hz
        if waiting_frames <= WAITING_S * self._rate_hz:
            promptest_s = self._promptest_s
            self._promptest_s = late_s if promptest_s is None else min(promptest_s, late_s)
        else:
            self._recent.clear()
        if now_s < self._bin_end_s:
            return 0
        passed_s = now_s - self._bin_end_s + BIN_S
        self._bin_end_s = now_s + BIN_S
        promptest_s, self._promptest_s = self._promptest_s, None
        if promptest_s is None:
            return 0
        self._recent.append(promptest_s)
        return self._strike(now_s, passed_s, drift_ppm or 0.0)

    def gap(self, now_s: float, frames: int) -> int:
        """Frames that came after a loss of any length: how many were lost, by the clock.

        Time goes on from the first of them: were the lateness of those that follow learned
        first, what a busy computer loses right then would be taken for usual.
        """
        if self._start_s is None:
            self._start_s, self._bin_end_s = now_s, now_s + BIN_S
            self._usual_s = 0.0
            self.look_closely(now_s)
            return 0
        lost = max(self._due(now_s) - self._frames - frames, 0)
        self._frames += frames + lost
        self._recent.clear()
        self._promptest_s, self._bin_end_s = None, now_s + BIN_S
        self.look_closely(now_s)
        return lost

    def missing(self, now_s: float) -> int:
        """Frames that usually would have come by now and have not; 0 before any came."""
        return 0 if self._start_s is None else self._due(now_s) - self._frames

    def ahead(self, now_s: float, frames: int) -> int:
        """How many of the frames that come now are more than the clock allows; at most all."""
        return min(max(self._frames + frames - self._due(now_s), 0), frames)

    @property
    def newest_due_s(self) -> float | None:
        """When the newest frame was due by the clock, s; None while that is unknown."""
        if self._start_s is None or self._usual_s is None:
            return None
        return self._start_s + self._usual_s + self._frames / self._rate_hz

    def _due(self, now_s: float) -> int:
        """Frames that usually have come by now."""
        assert self._start_s is not None
        return round((now_s - self._start_s - (self._usual_s or 0.0)) * self._rate_hz)

    def _strike(self, now_s: float, passed_s: float, drift_ppm: float) -> int:
        newest_s = self._recent[-1]
        if self._usual_s is None:
            self._usual_s = newest_s
            return 0
        self._usual_s -= drift_ppm * 1e-6 * passed_s
        settled = len(self._recent) == SETTLED_BINS
        settled = settled and max(self._recent) - min(self._recent) < SETTLED_S
        lost_s = min(self._recent) - self._usual_s
        unsure = now_s < self._unsure_until
        if settled and lost_s > (LEAST_AFTER_LOSS_S if unsure else LEAST_LOST_S):
            lost = round(lost_s * self._rate_hz)
            self._frames += lost
            self._recent.clear()
            self.look_closely(now_s)
            return lost
        # Delay is only ever added: the promptest shows how late blocks usually are. But later on,
        # what seems far too prompt is audio that was taken for lost, for `ahead` to leave out.
        young = self._bin_end_s - (self._start_s or 0.0) < YOUNG_S
        lowest_s = newest_s if young else max(newest_s, self._usual_s - MOST_FALL_S)
        slew_s = 0.0 if unsure else SLEW * passed_s
        self._usual_s = min(self._usual_s + slew_s, lowest_s)
        return 0
