"""Sound that repeats itself sample for sample: a buffer that is played again.

Model: live sound carries noise, so two stretches of it never agree. Two samples of noise with a
standard deviation of s steps are equal with a probability of 1 / (2 s sqrt(pi)); already at ten
steps a run of thirty equal ones comes once in 10^46 (arithmetic). A digital tone, silence and the
bits of a code do repeat: they have a few lines, or a few values, or no level at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import HOPS_PER_TICK, Hops
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
_STRIDE: Final = 8
_SPAN: Final = 16
"""At every eighth sample sixteen are marked; a stretch of `_NEAR` holds such a span in any case."""
_AT_ONCE: Final = 2
"""So many anchors are compared at once: what that takes stays inside the cache."""
_SPANS: Final = np.arange(_STRIDE)[:, None] + np.arange(_SPAN)
_BESIDE: Final = np.arange(_NEAR + 1)
_WEIGHTS: Final = np.array(
    [0x2545F4914F6CDD1D, 0x1B873593CC9E2D51, 0x5851F42D4C957F2D, 0x27D4EB2F165667C5]
)
"""Odd numbers without a pattern; what two different spans add up to is hardly ever the same."""
_HISTORY_TICKS: Final = 11
_TICKS: Final = 13


@dataclass(slots=True)
class _Open:
    lag: int
    begin_s: float


class RepeatFinder(TrackMemory):
    """Looks where the highest or lowest sample of a tick was reached before, to the last bit."""

    _ring: Samples = remembered(By.FIRST, lambda d: np.zeros((d._tracks, d._width), np.float32))
    """The newest ticks of every track, written round and round, and the first few once more behind
    them, so that what is looked for is always in one piece."""
    _marks: NDArray[np.int32] = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, d._width // _STRIDE), np.int32)
    )
    """What the bits of sixteen samples of the ring add up to, beginning at every eighth."""
    _next: int = remembered(By.WHOLE, 0)
    _filled: int = remembered(By.WHOLE, 0)
    _high: NDArray[np.float64] = remembered(
        By.FIRST, lambda d: np.full((d._tracks, _HISTORY_TICKS, HOPS_PER_TICK), np.nan)
    )
    _low: NDArray[np.float64] = remembered(
        By.FIRST, lambda d: np.full((d._tracks, _HISTORY_TICKS, HOPS_PER_TICK), np.nan)
    )
    _next_of_history: int = remembered(By.WHOLE, 0)
    _open: dict[int, _Open] = remembered(By.KEYS, lambda _: {})

    def __init__(self, watched: Flags, sample_rate_hz: int, hop_frames: int) -> None:
        self._tracks = len(watched)
        self._watched = watched
        self._rate_hz = sample_rate_hz
        self._hop_frames = hop_frames
        self._tick_frames = HOPS_PER_TICK * hop_frames
        self._frames = _TICKS * self._tick_frames
        self._width = -(-(self._frames + _NEAR) // _STRIDE) * _STRIDE
        self.reset()

    def update(self, hops: Hops, start_s: float) -> tuple[Repeat, ...]:
        """Take in one tick; what repeats at its end, and what repeated and ended in it."""
        self._write(hops.channels)
        known = sorted(self._open)
        said = [self._follow(track, start_s) for track in known]
        tracks = [track for track in self._candidates(hops).tolist() if track not in known]
        if tracks:
            self._search(tracks, hops, start_s, said)
        self._high[:, self._next_of_history] = hops.peak_max
        self._low[:, self._next_of_history] = hops.peak_min
        self._next_of_history = (self._next_of_history + 1) % _HISTORY_TICKS
        return tuple(said)

    def _write(self, channels: Samples) -> None:
        """Put one tick into the ring."""
        self._put(channels, self._next)
        if self._next == 0:
            self._put(channels[:, : self._width - self._frames], self._frames)
        self._next = (self._next + self._tick_frames) % self._frames
        self._filled = min(self._filled + self._tick_frames, self._frames)

    def _put(self, channels: Samples, first: int) -> None:
        end = first + channels.shape[1]
        # Zero has two signs; added to zero it has one, and equal samples have equal bits.
        np.add(channels, np.float32(0.0), out=self._ring[:, first:end])
        # Sixteen samples that begin before this piece and end in it are known only now.
        begin, stop = max(-(-(first - _SPAN + 1) // _STRIDE), 0), (end - _SPAN) // _STRIDE + 1
        stretch = self._ring[:, begin * _STRIDE : (stop + 1) * _STRIDE].view(np.int64)
        self._marks[:, begin:stop] = _marks(stretch)

    def _candidates(self, hops: Hops) -> NDArray[np.int64]:
        """Tracks on which an extreme of this tick was reached before."""
        high, low = hops.peak_max, hops.peak_min
        top, bottom = high.max(axis=1), low.min(axis=1)
        some = (self._high == top[:, None, None]).any(axis=(1, 2))
        some |= (self._low == bottom[:, None, None]).any(axis=(1, 2))
        some |= _alike(high, low).any(axis=1)
        some &= (top - bottom >= LEAST_SWING) & hops.valid.all(axis=1) & self._watched
        return np.flatnonzero(some)

    def _sound(self, track: int) -> Samples:
        """All that is known of one track, oldest first."""
        ring, oldest = self._ring[track], self._oldest
        return np.concatenate([ring[oldest : self._frames], ring[:oldest]])[: self._filled]

    @property
    def _oldest(self) -> int:
        return self._next if self._filled == self._frames else 0

    def _search(self, tracks: list[int], hops: Hops, start_s: float, said: list[Repeat]) -> None:
        """Find the lag at which each of these tracks repeats, if it does."""
        end_s = start_s + self._tick_frames / self._rate_hz
        done: set[int] = set()
        for track, at, lag in self._lags(*self._anchors(tracks, hops)):
            if track in done:
                continue
            sound = self._sound(track)
            span = self._agrees(sound, at, lag)
            if span is not None and _is_live(sound[span[0] : span[0] + lag]):
                begin_s = end_s - (len(sound) - span[0]) / self._rate_hz
                self._open[track] = _Open(lag, max(begin_s, 0.0))
                left = len(sound) - span[1]
                done.add(track)
                said.append(self._repeat(track, left > 0, left, end_s))

    def _anchors(
        self, tracks: list[int], hops: Hops
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Samples of the tick that would recur: its extremes, and one of a hop like its last.

        Their tracks, and where they are, counted from the oldest sample of the ring.
        """
        where: list[tuple[int, int]] = []
        alike = _alike(hops.peak_max, hops.peak_min)
        for track in tracks:
            x = hops.channels[track]
            where += [(track, int(x.argmax())), (track, int(x.argmin()))]
            same = np.flatnonzero(alike[track])
            if len(same):
                begin = (int(same[len(same) // 2]) + 1) * self._hop_frames
                where.append((track, begin + int(x[begin : begin + self._hop_frames].argmax())))
        track_indices, at = np.array(where).T
        return track_indices, at + self._filled - self._tick_frames

    def _lags(
        self, tracks: NDArray[np.int64], at: NDArray[np.int64]
    ) -> Iterator[tuple[int, int, int]]:
        """Track, anchor and lag wherever an anchor and those beside it were there before.

        Of each anchor the newest lags, newest first. A stretch that was there before holds sixteen
        samples of which a mark is stored, so only what has that mark is compared.
        """
        first = self._oldest
        beside = (first + at[:, None] + np.arange(-_NEAR, 1)) % self._frames
        near = self._ring[tracks[:, None], beside]
        looked_for = _marks(np.ascontiguousarray(near[:, _SPANS]).view(np.int64))
        oldest = np.maximum(at - int(LONGEST_S * self._rate_hz), _NEAR)
        newest = np.maximum(at - int(SHORTEST_S * self._rate_hz), oldest)
        n, offset, group = self._marked(tracks, looked_for)
        begin = group * _STRIDE - offset
        before = (begin - first) % self._frames + _NEAR
        in_time = (begin >= 0) & (begin < self._frames)
        in_time &= (before >= oldest[n]) & (before < newest[n])
        n, begin, before = n[in_time], begin[in_time], before[in_time]
        same = self._ring[tracks[n, None], begin[:, None] + _BESIDE] == near[n]
        n, before = n[same.all(axis=1)], before[same.all(axis=1)]
        for one in np.unique(n).tolist():
            newest_first = np.sort(before[n == one])[::-1][:_CANDIDATES]
            for lag in (at[one] - newest_first).tolist():
                yield int(tracks[one]), int(at[one]), lag

    def _marked(
        self, tracks: NDArray[np.int64], looked_for: NDArray[np.int32]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Where a mark is stored: which anchor's, which of its eight, and where among `_marks`."""
        spans = self._marks.shape[1]
        alike = np.empty((_AT_ONCE, _STRIDE, spans), dtype=np.bool_)
        hits = []
        for start in range(0, len(tracks), _AT_ONCE):
            several = slice(start, start + _AT_ONCE)
            here = alike[: len(tracks[several])]
            np.equal(self._marks[tracks[several], None, :], looked_for[several], out=here)
            hits.append(np.flatnonzero(here) + start * _STRIDE * spans)
        rest, group = np.divmod(np.concatenate(hits), spans)
        n, offset = np.divmod(rest, _STRIDE)
        return n, offset, group

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


def _marks(pairs: NDArray[np.int64]) -> NDArray[np.int32]:
    """One number for each span of sixteen samples that begins at every eighth, from its ends.

    `pairs` are the bits of the samples, two by two, along the last axis; of eight samples the first
    two and the last two count.
    """
    ends = pairs[..., 0::4] * _WEIGHTS[0] + pairs[..., 3::4] * _WEIGHTS[1]
    whole = ends[..., :-1] * _WEIGHTS[2] + ends[..., 1:] * _WEIGHTS[3]
    return np.asarray(whole >> 32).astype(np.int32)


def _alike(high: Levels, low: Levels) -> Flags:
    """Hops with the same extremes as the one before them, the first left out."""
    return np.asarray((high[..., 1:] == high[..., :-1]) & (low[..., 1:] == low[..., :-1]))


def _is_live(period: Samples) -> bool:
    """Whether what repeats was sound of a place: no tone, no code, no silence."""
    if len(np.unique(period)) < min(VALUES, len(period) // 3):
        return False
    power = np.square(np.abs(np.fft.rfft(np.diff(period))))
    return bool(power.sum() ** 2 >= LINES * np.square(power).sum())
