"""Sound that repeats itself sample for sample: a buffer that is played again.

Model: live sound carries noise, so two stretches of it never agree. Two samples of noise with a
standard deviation of s steps are equal with a probability of 1 / (2 s sqrt(pi)); already at ten
steps a run of thirty equal ones comes once in 10^46 (arithmetic). A digital tone, silence and the
bits of a code do repeat: they have a few lines, or a few values, or no level at all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import HOPS_PER_TICK, Hops
from engine.model.messages import Flags, Levels, Repeat, Samples
from engine.model.track_memory import TrackMemory, per_track, remembered
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
_NEWEST: Final = 24
_BESIDE: Final = np.arange(1, _NEAR + 1)
_FIRST_BESIDE: Final = 3
"""Samples before an equal one that are compared one by one: few are left after them."""
_HISTORY_TICKS: Final = 11
_TICKS: Final = 13
_TONES: Final = 2
"""Repeats without life, as of a tone, that are looked at on a track in one tick: a tone agrees at
every multiple of its period, and on all tracks at once that would hold up the watch."""
_REST_TICKS: Final = 3
"""After which such a track is looked at anew."""
_OFTEN: Final = 16
"""Hops; of a sample that is an extreme of more, as in a tone, the whole ring is searched."""
_HIGH: Final = 0
_LOW: Final = 1


@dataclass(frozen=True, slots=True, eq=False)
class _Anchors:
    """Samples of the newest tick that would recur: their tracks, and where they are, counted from
    the oldest sample that is known; arrays of shape (anchors,)."""

    track: NDArray[np.int64]
    at: NDArray[np.int64]


@dataclass(slots=True)
class _Open:
    lag: int
    begin_s: float


class RepeatFinder(TrackMemory):
    """Looks where the highest or lowest sample of a tick was reached before, to the last bit."""

    _ring: Samples = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, _TICKS * d._tick_frames), np.float32)
    )
    """The newest ticks of every track, written round and round."""
    _extremes: Levels = remembered(
        By.FIRST, lambda d: np.full((d._tracks, 2, _TICKS, HOPS_PER_TICK), np.nan)
    )
    """Highest and lowest sample of each of their hops; NaN of ticks too long ago."""
    _number: int = remembered(By.WHOLE, 0)
    _rest_until: NDArray[np.int64] = per_track(0)
    _open: dict[int, _Open] = remembered(By.KEYS, lambda _: {})

    def __init__(self, watched: Flags, sample_rate_hz: int, hop_frames: int) -> None:
        self._tracks = len(watched)
        self._watched = watched
        self._rate_hz = sample_rate_hz
        self._hop_frames = hop_frames
        self._tick_frames = HOPS_PER_TICK * hop_frames
        self.reset()

    def update(self, hops: Hops, tick: int, start_s: float) -> tuple[Repeat, ...]:
        """Take in one tick of `hops`; what repeats at its end, and what ended in it."""
        span = slice(tick * HOPS_PER_TICK, (tick + 1) * HOPS_PER_TICK)
        high, low = hops.peak_max[:, span], hops.peak_min[:, span]
        slot = self._number % _TICKS
        self._extremes[:, :, [slot, (slot + 1) % _TICKS]] = np.nan
        some = self._candidates(high, low, hops.valid[:, span])
        frames = slice(tick * self._tick_frames, (tick + 1) * self._tick_frames)
        ring = slice(slot * self._tick_frames, (slot + 1) * self._tick_frames)
        self._ring[:, ring] = hops.channels[:, frames]
        self._extremes[:, _HIGH, slot], self._extremes[:, _LOW, slot] = high, low
        self._number += 1
        known = sorted(self._open)
        said = [self._follow(track, start_s) for track in known]
        rests = self._rest_until[some] > self._number
        tracks = [track for track in some[~rests].tolist() if track not in known]
        if tracks:
            anchors = self._anchors(np.array(tracks), high, low)
            self._search(anchors, start_s, said)
        return tuple(said)

    def _candidates(self, high: Levels, low: Levels, valid: Flags) -> NDArray[np.int64]:
        """Tracks on which an extreme of this tick was reached before, or two hops are alike."""
        top, bottom = high.max(axis=1), low.min(axis=1)
        ends = np.stack([top, bottom], axis=1)
        equal = self._extremes == ends[:, :, None, None]
        some = _alike(high, low).any(axis=1) | equal.any(axis=(1, 2, 3))
        some &= (top - bottom >= LEAST_SWING) & valid.all(axis=1) & self._watched
        return np.flatnonzero(some)

    @property
    def _oldest(self) -> int:
        """Where in the ring the oldest tick begins."""
        return self._tick_frames * (self._number % _TICKS if self._number >= _TICKS else 0)

    @property
    def _filled(self) -> int:
        """Samples of each track that are known."""
        return self._tick_frames * min(self._number, _TICKS)

    def _sound(self, track: int) -> Samples:
        """All that is known of one track, oldest first."""
        ring, oldest = self._ring[track], self._oldest
        return np.concatenate([ring[oldest:], ring[:oldest]])[: self._filled]

    def _search(self, anchors: _Anchors, start_s: float, said: list[Repeat]) -> None:
        """Find the lag at which each of their tracks repeats, if it does."""
        end_s = start_s + self._tick_frames / self._rate_hz
        done: set[int] = set()
        lifeless: Counter[int] = Counter()
        of, sound = -1, np.empty(0, np.float32)
        for track, at, lag in self._lags(anchors):
            if track in done or lifeless[track] >= _TONES:
                continue
            if track != of:
                of, sound = track, self._sound(track)
            span = self._agrees(sound, at, lag)
            if span is None:
                continue
            live = _is_live(sound[span[0] : span[0] + lag])
            lifeless[track] += not live
            if lifeless[track] == _TONES:
                self._rest_until[track] = self._number + _REST_TICKS
            if live:
                begin_s = end_s - (len(sound) - span[0]) / self._rate_hz
                self._open[track] = _Open(lag, max(begin_s, 0.0))
                left = len(sound) - span[1]
                done.add(track)
                said.append(self._repeat(track, left > 0, left, end_s))

    def _anchors(self, tracks: NDArray[np.int64], high: Levels, low: Levels) -> _Anchors:
        """The extremes of the tick on those tracks, and the highest sample of a hop that is like
        its last, track by track."""
        slot = (self._number - 1) % _TICKS
        newest = self._ring[:, slot * self._tick_frames : (slot + 1) * self._tick_frames]
        by_hop = self._ring.reshape(self._tracks, -1, self._hop_frames)
        top, bottom = high[tracks].argmax(axis=1), low[tracks].argmin(axis=1)
        first = slot * HOPS_PER_TICK
        several = [tracks, tracks]
        at = [
            top * self._hop_frames + by_hop[tracks, first + top].argmax(axis=1),
            bottom * self._hop_frames + by_hop[tracks, first + bottom].argmin(axis=1),
        ]
        alike = _alike(high, low)
        some = tracks[alike[tracks].any(axis=1)]
        if len(some):
            begins = []
            for track in some.tolist():
                same = np.flatnonzero(alike[track])
                begins.append((int(same[len(same) // 2]) + 1) * self._hop_frames)
            hops = np.array(begins)[:, None] + np.arange(self._hop_frames)
            several.append(some)
            at.append(np.array(begins) + newest[some[:, None], hops].argmax(axis=1))
        track_of = np.concatenate(several)
        order = np.argsort(track_of, kind="stable")
        first = self._filled - self._tick_frames
        return _Anchors(track_of[order], np.concatenate(at)[order] + first)

    def _lags(self, anchors: _Anchors) -> Iterator[tuple[int, int, int]]:
        """Track, anchor and lag wherever an anchor and those beside it were there before.

        Of each anchor the newest lags, newest first.
        """
        track = anchors.track
        here = (anchors.at + self._oldest) % self._ring.shape[1]
        n, at = self._places(track, here)
        if not len(at):
            return
        before = (at - self._oldest) % self._ring.shape[1]
        oldest = np.maximum(anchors.at - int(LONGEST_S * self._rate_hz), _NEAR)
        newest = np.maximum(anchors.at - int(SHORTEST_S * self._rate_hz), oldest)
        keep = (before >= oldest[n]) & (before < newest[n])
        n, at, before = n[keep], at[keep], before[keep]
        order = np.lexsort((-before, n))
        n, at, before = n[order], at[order], before[order]
        # Of a tone every period is a place: the newest are looked at first, and mostly do.
        first = np.arange(len(n)) - np.searchsorted(n, n) < _NEWEST
        alike = np.zeros(len(n), dtype=np.bool_)
        alike[first] = self._alike(track[n[first]], at[first], here[n[first]])
        count = np.bincount(n[alike], minlength=len(track))
        rest = np.flatnonzero(~first & (count[n] < _CANDIDATES))
        alike[rest] = self._alike(track[n[rest]], at[rest], here[n[rest]])
        n, before = n[alike], before[alike]
        for one in np.unique(n).tolist():
            newest_first = before[n == one][:_CANDIDATES]
            for lag in (anchors.at[one] - newest_first).tolist():
                yield int(track[one]), int(anchors.at[one]), lag

    def _alike(
        self, track: NDArray[np.int64], at: NDArray[np.int64], here: NDArray[np.int64]
    ) -> Flags:
        """Whether all samples beside those two places in the ring are the same."""
        there = self._ring[track[:, None], at[:, None] - _BESIDE]
        same = there == self._ring[track[:, None], here[:, None] - _BESIDE]
        return np.asarray(same.all(axis=1))

    def _places(
        self, track: NDArray[np.int64], here: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Where in the ring of those tracks the samples at `here`, and the few before them, stand:
        which of `here` each place is of, and the place; in any order.

        Only hops of which that sample is an extreme are searched.
        """
        sample = self._ring[track, here]
        extremes = self._extremes[track].reshape(len(track), 2, -1)
        reached = (extremes == sample[:, None, None]).any(axis=1)
        often = np.count_nonzero(reached, axis=1) > _OFTEN
        n, hop = np.nonzero(reached & ~often[:, None])
        by_hop = self._ring.reshape(self._tracks, -1, self._hop_frames)
        same = by_hop[track[n], hop] == sample[n, None]
        row, frame = np.divmod(np.flatnonzero(same), self._hop_frames)
        n, at = n[row], hop[row] * self._hop_frames + frame
        for one in np.flatnonzero(often).tolist():
            places = np.flatnonzero(self._ring[track[one]] == sample[one])
            n, at = np.append(n, np.full(len(places), one)), np.append(at, places)
        for beside in range(1, _FIRST_BESIDE + 1):  # a place before 0 is at the ring's end
            there = self._ring[track[n], at - beside]
            keep = there == self._ring[track, here - beside][n]
            n, at = n[keep], at[keep]
        return n, at

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
        count = self._tick_frames
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
