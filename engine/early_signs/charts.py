"""Control charts that tell a small lasting change from chance, one a track, all at once.

E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954), 100-115: the cumulative sum of
what exceeds half the change that is looked for, never under zero, signals at a threshold. How long
it stays silent in health, in samples, follows from the threshold:

- levels (normal, change of one deviation): D. Siegmund, "Sequential Analysis" (1985), eq. 2.55:
  (exp(2kb) - 2kb - 1) / (2k^2) with b = h + 1.166 and k = 0.5;
- counts (Poisson, from a rate to another): J. M. Lucas, "Counted data CUSUM's", Technometrics 27
  (1985), 129-144; exactly, by the Markov chain of the sum (D. Brook and D. A. Evans, Biometrika 59,
  1972, 539-549). Where events are rare each takes the sum most of the way, and the limit that
  keeps silent as long is lower (`COUNT_LIMITS`); Wald's inequality, exp(h) at least, asks for 9.9
  everywhere. Counts that come in clusters are divided by their variance over their mean
  (quasi-likelihood: P. McCullagh and J. A. Nelder, "Generalized Linear Models", 1989, sec. 6.2), or
  a cluster would be a change.

Eight charts a track and at most one false sign in four hours ask for one in 32 hours of a chart, a
run of 11,520 periods: b = 8.7 (h = 7.5) for levels. What is taken is more, for normals are learned
from few figures, and periods depend on each other: 50,000 for levels, 20,000 for counts.

Citations from memory. The formulas are held against simulation in the tests, the limits against the
Markov chain.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.early_signs.known_values import median
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By

FIRST_PERIODS: Final = 18
"""Three minutes tell a normal well enough to begin with."""
NORMAL_PERIODS: Final = 60
"""Ten minutes are a track's normal; after that it is not moved any more."""
SLACK: Final = 0.5
LEVEL_LIMIT: Final = 9.0
"""Deviations: some 50,000 samples, 140 hours of sound, by Siegmund's formula."""
COUNT_LIMITS: Final = ((0.05, 6.6), (0.1, 7.1), (0.2, 7.6), (0.5, 8.1), (1.0, 8.4))
"""Normal rate, events a period, and the log likelihood that such counts reach once in 20,000
periods; under the first and over the last rate the same (Brook and Evans)."""
RECENT: Final = 18
"""Periods, three minutes, in which events are counted to say how a track is now."""
NEWEST: Final = 3
"""Periods whose median says the same of levels. The median of a change that goes on is half of its
length late, so a longer one would cost the crew time; chance is the sum's business."""
_MEDIAN_ERROR: Final = 1.2533
"""Standard error of a median of n figures, in deviations over the root of n (textbook)."""
_MAD: Final = 1.4826
"""Median absolute deviation to standard deviation, normal noise (textbook)."""


class Chart(TrackMemory):
    """The normal of each track, and what exceeds it.

    Parameters
    ----------
    tracks : int
    least_spread : float
        Deviation that a normal has at least; what varies less is not better known.
    both_ways : bool
        A fall counts as well as a rise.
    """

    _seen: Levels = per_track(np.nan, rows=NORMAL_PERIODS)
    _known: NDArray[np.int64] = per_track(0)
    _recent: Levels = per_track(np.nan, rows=RECENT)
    rise: Levels = per_track(0.0)
    fall: Levels = per_track(0.0)
    begun: NDArray[np.int64] = per_track(0)
    _count: int = remembered(By.WHOLE, 0)

    def __init__(self, tracks: int, least_spread: float = 0.0, *, both_ways: bool = False) -> None:
        self._tracks = tracks
        self._least_spread = least_spread
        self._both_ways = both_ways
        self.reset()

    @property
    def normal(self) -> Levels:
        """What each track was in its first ten minutes; NaN before three are known."""
        return np.where(self._known >= FIRST_PERIODS, median(self._seen), np.nan)

    @property
    def now(self) -> Levels:
        """What each is now: the median of its newest half minute."""
        return median(self._recent[-NEWEST:])

    def add(self, value: Levels) -> None:
        """Take in one figure a track; NaN where there is none."""
        given = np.isfinite(value)
        self._count += 1
        ready = given & (self._known >= FIRST_PERIODS)
        self._sum(value, ready)
        quiet = (self.rise <= 0.0) & (self.fall <= 0.0)
        self.begun[quiet] = self._count
        learns = given & (self._known < NORMAL_PERIODS) & ~self.signals
        self._seen[self._known[learns], learns] = value[learns]
        self._known[learns] += 1
        shifted = np.vstack([self._recent[1:], value[None]])
        self._recent[:, given] = shifted[:, given]

    def forget(self, tracks: Flags) -> None:
        """Learn those anew."""
        for rows in (self._seen, self._recent):
            rows[:, tracks] = np.nan
        for row in (self._known, self.rise, self.fall):
            row[tracks] = 0

    def _sum(self, value: Levels, ready: Flags) -> None:
        spread = np.maximum(_MAD * median(np.abs(self._seen - self.normal)), self._least_spread)
        # A normal from few figures is not well known: its errors go into spread and slack.
        few = 1.0 / np.sqrt(np.maximum(self._known, 1))
        spread *= 1.0 + few
        slack = SLACK + _MEDIAN_ERROR * few
        z = np.where(ready, (value - self.normal) / np.maximum(spread, 1e-9), 0.0)
        # One wild figure is no change that lasts.
        z = np.clip(z, -LEVEL_LIMIT / 3.0, LEVEL_LIMIT / 3.0)
        self.rise = np.where(ready, np.maximum(self.rise + z - slack, 0.0), self.rise)
        if self._both_ways:
            self.fall = np.where(ready, np.maximum(self.fall - z - slack, 0.0), self.fall)
        np.minimum(self.rise, 2.0 * LEVEL_LIMIT, out=self.rise)
        np.minimum(self.fall, 2.0 * LEVEL_LIMIT, out=self.fall)

    @property
    def summary(self) -> Levels:
        """What a restart needs, shape (3, tracks): periods known, normal, median deviation."""
        deviation = median(np.abs(self._seen - self.normal))
        return np.stack([self._known.astype(np.float64), self.normal, deviation])

    def begin_from(self, summary: Levels) -> None:
        """Begin with a normal that an earlier watch of the same tracks learned.

        So many figures stand for it, half above and half below, that median and deviation are
        the same; where it was not known yet, all begins anew.
        """
        known, normal, deviation = np.nan_to_num(summary)
        known = np.clip(known, 0, NORMAL_PERIODS).astype(np.int64) * np.isfinite(summary[1])
        row = np.arange(NORMAL_PERIODS)[:, None]
        side = np.where(row % 2 == 0, 1.0, -1.0) * ~((known % 2 == 1) & (row == known - 1))
        self._seen = np.where(row < known, normal + side * deviation, np.nan)
        self._known = known

    def age(self, track_index: int) -> int:
        """Periods since that track's sum left zero, the newest included."""
        return int(self._count - self.begun[track_index])

    @property
    def signals(self) -> Flags:
        """Where a change is told from chance, shape (tracks,)."""
        return (self.rise > LEVEL_LIMIT) | (self.fall > LEVEL_LIMIT)


class CountChart(Chart):
    """The same for counts in each period, such as gaps.

    Parameters
    ----------
    tracks : int
    least_rate : float
        Events a period that are normal at least.
    step : float
        Events a period more that are looked for; three times the normal where that is more.
    """

    def __init__(self, tracks: int, least_rate: float = 0.02, step: float = 0.1) -> None:
        self._least_rate, self._step = least_rate, step
        super().__init__(tracks)

    @property
    def normal(self) -> Levels:
        """Events a period in the first ten minutes."""
        mean = np.nansum(self._seen, axis=0) / np.maximum(self._known, 1)
        return np.where(self._known >= FIRST_PERIODS, mean, np.nan)

    @property
    def now(self) -> Levels:
        """Events a period in the newest three minutes."""
        given = np.isfinite(self._recent)
        total = np.where(given, self._recent, 0.0).sum(axis=0)
        return np.where(given.any(axis=0), total / np.maximum(given.sum(axis=0), 1), np.nan)

    @property
    def summary(self) -> Levels:
        """The same, with the deviation that the figures of `begin_from` need for the variance."""
        apart = np.square(self._seen - np.nan_to_num(self.normal))
        variance = np.nansum(apart, axis=0) / np.maximum(self._known - self._known % 2, 1)
        return np.stack([self._known, self.normal, np.sqrt(variance)])

    def _sum(self, value: Levels, ready: Flags) -> None:
        rate = self._rate
        more = np.maximum(3.0 * rate, rate + self._step)
        count = np.minimum(np.where(ready, value, 0.0), 3.0 * more + 2.0)
        gain = (count * np.log(more / rate) - (more - rate)) / self._clustered(rate)
        self.rise = np.where(ready, np.clip(self.rise + gain, 0.0, 2.0 * self._limit), self.rise)

    def _clustered(self, rate: Levels) -> Levels:
        """Variance over mean of what was normal; 1 where events come independently."""
        apart = np.nansum(np.square(self._seen - rate), axis=0)
        return np.asarray(np.maximum(apart / np.maximum(self._known, 1) / rate, 1.0))

    @property
    def _rate(self) -> Levels:
        return np.maximum(np.nan_to_num(self.normal), self._least_rate)

    @property
    def _limit(self) -> Levels:
        rates, limits = np.transpose(COUNT_LIMITS)
        return np.asarray(np.interp(np.log(self._rate), np.log(rates), limits))

    @property
    def signals(self) -> Flags:
        """Where a higher rate is told from chance."""
        return self.rise > self._limit
