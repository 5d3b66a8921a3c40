"""Sound that repeats itself sample for sample: a buffer that is played again.

Model: live sound carries noise, so two stretches of it never agree. Two samples of noise with a
standard deviation of s steps are equal with a probability of 1 / (2 s sqrt(pi)); already at ten
steps a run of thirty equal ones comes once in 10^46 (arithmetic). A digital tone, silence and the
bits of a code do repeat: they have a few lines, or a few values, or no level at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import Hops
from engine.model.messages import Flags, Levels, Repeat, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By

LONGEST_S: Final = 1.05
"""Longest buffer looked for, s; ours, a little over the second that drivers offer at most."""
SHORTEST_S: Final = 0.0024
"""Shortest one, s: 128 frames at 48 kHz, less a little; below, a repeat is a tone."""
LEAST_S: Final = 0.03
"""So much must agree, s: longer than the part of an LTC frame that the next one shares."""
LINES: Final = 4.0
"""Least effective number of lines of the steps from sample to sample: the ratio of the squared sum
of their powers to the sum of the squares. A sine has 1; noise has a third of all lines and more."""
VALUES: Final = 48
"""Least number of different values in it: a code has two, a square wave as well."""
LEAST_SWING: Final = 2.0**-14
"""Peak to peak, full scale 1.0; under it converters may idle in a pattern."""

_NEAR: Final = 24
_CANDIDATES: Final = 6
_HISTORY_HOPS: Final = 110
_TICKS: Final = 13


@dataclass(slots=True)
class _Open:
    lag: int
    begin_s: float


class RepeatFinder(TrackMemory):
    """Looks where the highest or lowest sample of a tick was reached before, to the last bit."""

    _ticks: list[Samples] = remembered(By.EACH, lambda _: [])
    """The newest ticks, each (tracks, frames), shared with the measurements."""
    _high: NDArray[np.float64] = remembered(
        By.FIRST, lambda d: np.full((d._tracks, _HISTORY_HOPS), np.nan)
    )
    _low: NDArray[np.float64] = remembered(
        By.FIRST, lambda d: np.full((d._tracks, _HISTORY_HOPS), np.nan)
    )
    _open: dict[int, _Open] = remembered(By.KEYS, lambda _: {})

    def __init__(self, watched: Flags, sample_rate_hz: int, hop_frames: int) -> None:
        self._tracks = len(watched)
        self._watched = watched
        self._rate_hz = sample_rate_hz
        self._hop_frames = hop_frames
        self.reset()

    def update(self, hops: Hops, start_s: float) -> tuple[Repeat, ...]:
        """Take in one tick; what repeats at its end, and what repeated and ended in it."""
        self._ticks = [*self._ticks[-_TICKS + 1 :], hops.channels]
        known = sorted(self._open)
        said = [self._follow(track, start_s) for track in known]
        for track in self._candidates(hops).tolist():
            if track not in known:
                self._search(track, hops, start_s, said)
        self._high = np.concatenate([self._high, hops.peak_max], axis=1)[:, -_HISTORY_HOPS:]
        self._low = np.concatenate([self._low, hops.peak_min], axis=1)[:, -_HISTORY_HOPS:]
        return tuple(said)

    def _candidates(self, hops: Hops) -> NDArray[np.int64]:
        """Tracks on which an extreme of this tick was reached before."""
        high, low = hops.peak_max, hops.peak_min
        top, bottom = high.max(axis=1), low.min(axis=1)
        some = (self._high == top[:, None]).any(axis=1)
        some |= (self._low == bottom[:, None]).any(axis=1) | _alike(high, low).any(axis=1)
        some &= (top - bottom >= LEAST_SWING) & hops.valid.all(axis=1) & self._watched
        return np.flatnonzero(some)

    def _sound(self, track: int) -> Samples:
        """All that is kept of one track, oldest first."""
        return np.concatenate([tick[track] for tick in self._ticks])

    def _search(self, track: int, hops: Hops, start_s: float, said: list[Repeat]) -> None:
        """Find the lag at which this track repeats, if it does."""
        sound, count = self._sound(track), hops.channels.shape[1]
        for at in self._anchors(track, hops):
            at += len(sound) - count
            for lag in self._lags(sound, at):
                span = self._agrees(sound, at, lag)
                if span is not None and _is_live(sound[span[0] : span[0] + lag]):
                    end_s = start_s + count / self._rate_hz
                    begin_s = end_s - (len(sound) - span[0]) / self._rate_hz
                    self._open[track] = _Open(lag, max(begin_s, 0.0))
                    left = len(sound) - span[1]
                    said.append(self._repeat(track, left > 0, left, end_s))
                    return

    def _anchors(self, track: int, hops: Hops) -> list[int]:
        """Samples of the tick that would recur: its extremes, and one of a hop like its last."""
        x = hops.channels[track]
        where = [int(x.argmax()), int(x.argmin())]
        alike = np.flatnonzero(_alike(hops.peak_max[track], hops.peak_min[track]))
        if len(alike):
            begin = (int(alike[len(alike) // 2]) + 1) * self._hop_frames
            where.append(begin + int(x[begin : begin + self._hop_frames].argmax()))
        return where

    def _lags(self, sound: Samples, at: int) -> list[int]:
        """The newest lags at which that sample and those beside it were there before."""
        oldest = max(at - int(LONGEST_S * self._rate_hz), _NEAR)
        newest = max(at - int(SHORTEST_S * self._rate_hz), oldest)
        near = sound[at - _NEAR : at]
        lags: list[int] = []
        for before in (oldest + np.flatnonzero(sound[oldest:newest] == sound[at]))[::-1].tolist():
            if np.array_equal(sound[before - _NEAR : before], near):
                lags.append(at - before)
            if len(lags) == _CANDIDATES:
                break
        return lags

    def _agrees(self, sound: Samples, at: int, lag: int) -> tuple[int, int] | None:
        """First sample and end of the run round `at` that agrees, if it is long enough."""
        lowest = max(lag, len(sound) - 3 * len(sound) // _TICKS)
        same = sound[lowest:] == sound[lowest - lag : len(sound) - lag]
        before, after = ~same[: at - lowest], ~same[at - lowest :]
        begin = lowest + (len(before) - int(before[::-1].argmax()) if before.any() else 0)
        end = at + int(after.argmax()) if after.any() else len(sound)
        return (begin, end) if end - begin >= LEAST_S * self._rate_hz else None

    def _follow(self, track: int, start_s: float) -> Repeat:
        """Whether an open repeat goes on through this tick."""
        sound, lag = self._sound(track), self._open[track].lag
        count = self._ticks[-1].shape[1]
        first = len(sound) - count
        off = sound[first:] != sound[first - lag : len(sound) - lag]
        end_s = start_s + count / self._rate_hz
        ended = bool(off.any())
        return self._repeat(track, ended, count - int(off.argmax()) if ended else 0, end_s)

    def _repeat(self, track: int, ended: bool, left: int, end_s: float) -> Repeat:
        found = self._open[track]
        if ended:
            del self._open[track]
        until_s = end_s - left / self._rate_hz
        return Repeat(track, found.begin_s, until_s, found.lag / self._rate_hz, ended)


def _alike(high: Levels, low: Levels) -> Flags:
    """Hops with the same extremes as the one before them, the first left out."""
    return np.asarray((high[..., 1:] == high[..., :-1]) & (low[..., 1:] == low[..., :-1]))


def _is_live(period: Samples) -> bool:
    """Whether what repeats was sound of a place: no tone, no code, no silence."""
    if len(np.unique(period)) < min(VALUES, len(period) // 3):
        return False
    power = np.square(np.abs(np.fft.rfft(np.diff(period))))
    return bool(power.sum() ** 2 >= LINES * np.square(power).sum())
