"""Where the sound of the newest second was the same before, sample for sample.

The highest or lowest sample of a tick is the anchor: where its value was reached before, the
samples beside it are compared. All that is a plain function of the sound, and asked for all ticks
that come together at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import HOPS_PER_TICK, Hops
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import Flags, Levels, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By, TrackRemap

KNOWN_TICKS: Final = 13
"""So many ticks of each track are known, the newest among them."""
_HISTORY_TICKS: Final = 11
"""Ticks before the newest one that are searched; one more has the samples beside theirs."""
_NEAR: Final = 24
_CANDIDATES: Final = 6
_NEWEST: Final = 24
_BESIDE: Final = np.arange(1, _NEAR + 1)
_FIRST_BESIDE: Final = 3
"""Samples before an equal one that are compared one by one: few are left after them."""
_OFTEN: Final = 16
"""Hops; of a sample that is an extreme of more, as in a tone, the whole ring is searched."""
_HIGH: Final = 0
_LOW: Final = 1

Lag = tuple[int, int, int]
"""Track, frame of the anchor in its tick, and by how many samples it is later than its like."""


@dataclass(frozen=True, slots=True, eq=False)
class _Anchors:
    """Samples that would recur; arrays of shape (anchors,).

    number, track : number of the tick they lie in, and their track
    frame : where in that tick
    here : the same in the ring
    """

    number: NDArray[np.int64]
    track: NDArray[np.int64]
    frame: NDArray[np.int64]
    here: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class NewTicks:
    """Some ticks that came together.

    first : number of the first of them
    channels : (tracks, ticks, hops, frames)
    high, low : (tracks, ticks, hops) extremes; alike : hops with the extremes of the one before
    top, bottom : (tracks, ticks) extremes of each tick
    """

    first: int
    channels: Samples
    high: Levels
    low: Levels
    alike: Flags
    top: Levels
    bottom: Levels

    @classmethod
    def of(cls, hops: Hops, first: int) -> NewTicks:
        """Those of some hops; the number of their first tick."""
        high, low = hops.by_tick(hops.peak_max), hops.by_tick(hops.peak_min)
        alike = (high[..., 1:] == high[..., :-1]) & (low[..., 1:] == low[..., :-1])
        channels = hops.channels.reshape(*high.shape, hops.hop_frames)
        return cls(first, channels, high, low, alike, high.max(axis=2), low.min(axis=2))


class Recurrences(TrackMemory):
    """The newest ticks of every track, written round and round.

    Parameters
    ----------
    tracks : int
    hop_frames : int
    shortest, longest : int
        Samples. Lags looked for are longer than the one, and at most the other.
    """

    _slots: int = remembered(By.WHOLE, KNOWN_TICKS)
    """Ticks that the ring has room for: those that are known, and those that came with them."""
    _ring: Samples = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, d._slots * d._tick_frames), np.float32)
    )
    _extremes: Levels = remembered(
        By.FIRST, lambda d: np.full((d._tracks, 2, d._slots, HOPS_PER_TICK), np.nan)
    )
    """Highest and lowest sample of each of their hops; NaN of ticks that never came."""

    def __init__(self, tracks: int, hop_frames: int, shortest: int, longest: int) -> None:
        self._tracks = tracks
        self._hop_frames = hop_frames
        self._tick_frames = HOPS_PER_TICK * hop_frames
        self._shortest, self._longest = shortest, longest
        self.reset()

    def carry(self, before: Recurrences, remap: TrackRemap) -> None:
        """Take over what `before` remembers of the tracks that stay."""
        self._make_room(before._slots, 0)
        super().carry(before, remap)

    def write(self, new: NewTicks) -> None:
        """Take in some ticks, from the slot after the newest on."""
        ticks = new.high.shape[1]
        self._make_room(KNOWN_TICKS - 1 + ticks, new.first)
        for begin in (0, self._slots - new.first % self._slots):
            first = (new.first + begin) % self._slots
            end = min(ticks, begin + self._slots - first)
            if begin < end:
                slots, here = slice(first, first + end - begin), slice(begin, end)
                sound = new.channels[:, here].reshape(self._tracks, end - begin, -1)
                self._by_tick[:, slots] = sound
                self._extremes[:, _HIGH, slots] = new.high[:, here]
                self._extremes[:, _LOW, slots] = new.low[:, here]

    def _make_room(self, slots: int, number: int) -> None:
        """Let the ring hold so many ticks, with what it has of those before that number."""
        if slots <= self._slots:
            return
        before, known = self._slots, range(max(0, number - self._slots), number)
        ring, extremes = self._by_tick, self._extremes
        self._slots = slots
        self._ring = np.zeros((self._tracks, slots * self._tick_frames), np.float32)
        self._extremes = np.full((self._tracks, 2, slots, HOPS_PER_TICK), np.nan)
        for one in known:
            self._by_tick[:, one % slots] = ring[:, one % before]
            self._extremes[:, :, one % slots] = extremes[:, :, one % before]

    @property
    def _by_tick(self) -> Samples:
        return self._ring.reshape(self._tracks, self._slots, self._tick_frames)

    def _ages(self, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
        """How many ticks before each of those every slot lies, (ticks, slots).

        What came with them, but later, is older than all that is searched.
        """
        return (numbers[:, None] - np.arange(self._slots)) % self._slots

    def candidates(self, new: NewTicks) -> Flags:
        """Where an extreme of a tick was reached before, or two of its hops are alike, shape
        (tracks, ticks)."""
        ends = np.stack([new.top, new.bottom], axis=2)
        equal = (self._extremes[:, None] == ends[..., None, None]).any(axis=(2, 4))
        ages = self._ages(new.first + np.arange(new.high.shape[1]))
        equal &= (ages > 0) & (ages <= _HISTORY_TICKS)
        return np.asarray(new.alike.any(axis=2) | equal.any(axis=2))

    def found(self, new: NewTicks, pairs: NDArray[np.int64]) -> dict[int, list[Lag]]:
        """By the tick's number, wherever an anchor and the samples beside it were there before.

        `pairs` are new ticks and tracks, shape (pairs, 2), in order; so is the answer, of
        each anchor the newest lags, newest first.
        """
        found: dict[int, list[Lag]] = {}
        if len(pairs):
            for number, lag in self._lags(self._anchors(new, *pairs.T)):
                found.setdefault(number, []).append(lag)
        return found

    def sound(self, track: int, ticks: int) -> Samples:
        """All that was known of one track once so many ticks had come, oldest first."""
        end, size = ticks * self._tick_frames, self._ring.shape[1]
        begin = (end - min(ticks, KNOWN_TICKS) * self._tick_frames) % size
        end %= size
        ring = self._ring[track]
        return ring[begin:end] if begin < end else np.concatenate([ring[begin:], ring[:end]])

    def _anchors(
        self, new: NewTicks, tick: NDArray[np.int64], track: NDArray[np.int64]
    ) -> _Anchors:
        """The extremes of those ticks on those tracks, and the highest sample of a hop that is like
        its last, pair by pair."""
        top, bottom = new.high[track, tick].argmax(axis=1), new.low[track, tick].argmin(axis=1)
        each = np.arange(len(tick))
        several = [each, each]
        frame = [
            top * self._hop_frames + new.channels[track, tick, top].argmax(axis=1),
            bottom * self._hop_frames + new.channels[track, tick, bottom].argmin(axis=1),
        ]
        alike = new.alike[track, tick]
        some = np.flatnonzero(alike.any(axis=1))
        if len(some):
            same = [np.flatnonzero(alike[pair]) for pair in some.tolist()]
            hop = np.array([at[len(at) // 2] + 1 for at in same])
            highest = new.channels[track[some], tick[some], hop].argmax(axis=1)
            several.append(some)
            frame.append(hop * self._hop_frames + highest)
        pair = np.concatenate(several)
        order = np.argsort(pair, kind="stable")
        pair, at = pair[order], np.concatenate(frame)[order]
        number = new.first + tick[pair]
        here = (number * self._tick_frames + at) % self._ring.shape[1]
        return _Anchors(number, track[pair], at, here)

    def _lags(self, anchors: _Anchors) -> Iterator[tuple[int, Lag]]:
        """Number of the tick and lag, anchor by anchor."""
        track, here = anchors.track, anchors.here
        before = np.minimum(anchors.number, KNOWN_TICKS - 1) * self._tick_frames + anchors.frame
        n, at = self._places(anchors, np.minimum(self._longest, before - _NEAR))
        if not len(n):
            return
        lag = (here[n] - at) % self._ring.shape[1]
        order = np.lexsort((lag, n))
        n, at, lag = n[order], at[order], lag[order]
        # Of a tone every period is a place: the newest are looked at first, and mostly do.
        first = np.arange(len(n)) - np.searchsorted(n, n) < _NEWEST
        alike = np.zeros(len(n), dtype=np.bool_)
        alike[first] = self._alike(track[n[first]], at[first], here[n[first]])
        if not first.all():
            count = np.bincount(n[alike], minlength=len(track))
            rest = np.flatnonzero(~first & (count[n] < _CANDIDATES))
            alike[rest] = self._alike(track[n[rest]], at[rest], here[n[rest]])
        if not any_of(alike):  # as nearly always
            return
        n, lag = n[alike], lag[alike]
        for one in sorted(set(n.tolist())):
            for each in lag[n == one][:_CANDIDATES].tolist():
                yield int(anchors.number[one]), (int(track[one]), int(anchors.frame[one]), each)

    def _alike(
        self, track: NDArray[np.int64], at: NDArray[np.int64], here: NDArray[np.int64]
    ) -> Flags:
        """Whether all samples beside those two places in the ring are the same."""
        there = self._ring[track[:, None], at[:, None] - _BESIDE]
        same = there == self._ring[track[:, None], here[:, None] - _BESIDE]
        return np.asarray(same.all(axis=1))

    def _places(
        self, anchors: _Anchors, longest: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Where in the ring the anchors, and the few samples before them, stand: which anchor each
        place is of, and the place; in any order.

        Only hops of which that sample is an extreme are searched; `longest` is each anchor's
        longest lag.
        """
        track, here = anchors.track, anchors.here
        sample = self._ring[track, here]
        reached = (self._extremes[track] == sample[:, None, None, None]).any(axis=1)
        reached &= (self._ages(anchors.number) <= _HISTORY_TICKS)[:, :, None]
        reached = reached.reshape(len(track), -1)
        often = count_of(reached, axis=1) > _OFTEN
        reached[often] = False
        n, hop = np.nonzero(reached)
        by_hop = self._ring.reshape(self._tracks, -1, self._hop_frames)
        same = by_hop[track[n], hop] == sample[n, None]
        row, frame = np.divmod(np.flatnonzero(same), self._hop_frames)
        n, at = n[row], hop[row] * self._hop_frames + frame
        lag = (here[n] - at) % self._ring.shape[1]
        keep = (lag <= longest[n]) & (lag > self._shortest)
        n, at = n[keep], at[keep]
        if any_of(often):
            wide = self._everywhere(anchors, np.flatnonzero(often), longest)
            n, at = np.concatenate([n, wide[0]]), np.concatenate([at, wide[1]])
        row, size = track * self._ring.shape[1], self._ring.shape[1]
        for beside in range(1, _FIRST_BESIDE + 1):
            wanted = self._ring[track, here - beside]  # a place before 0 is at the ring's end
            there = np.where(at < beside, at + size, at) - beside
            keep = self._ring.take(row[n] + there) == wanted[n]
            n, at = n[keep], at[keep]
        return n, at

    def _everywhere(
        self, anchors: _Anchors, several: NDArray[np.int64], longest: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """The same for those anchors, in all hops.

        Where a tick reaches a level often, the next one mostly does, so that of all anchors of one
        track few levels are to be looked for.
        """
        several = several[longest[several] > self._shortest]
        track, here = anchors.track[several], anchors.here[several]
        spans = np.stack([here - longest[several], here - self._shortest], axis=1)
        spans %= self._ring.shape[1]
        levels = zip(track.tolist(), self._ring[track, here].tolist(), strict=True)
        of_level: dict[tuple[int, float], list[int]] = {}
        for one, level in enumerate(levels):
            of_level.setdefault(level, []).append(one)
        n: list[int] = []
        at: list[NDArray[np.int64]] = []
        wraps = (spans[:, 0] > spans[:, 1]).tolist()
        for (track_index, sample), ones in of_level.items():
            places = indices(self._ring[track_index] == np.float32(sample))
            for one, (begin, end) in zip(
                ones, places.searchsorted(spans[ones]).tolist(), strict=True
            ):
                # The oldest of a span that goes past the ring's end lie there.
                parts = [places[begin:], places[:end]] if wraps[one] else [places[begin:end]]
                at += parts
                n += [one] * len(parts)
        if not n:
            return several[:0], several[:0]
        return several[np.repeat(n, [len(part) for part in at])], np.concatenate(at)
