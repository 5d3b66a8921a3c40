"""Sound that repeats itself sample for sample: a buffer that is played again.

Model: live sound carries noise, so two stretches of it never agree. Two samples of noise with a
standard deviation of s steps are equal with a probability of 1 / (2 s sqrt(pi)); already at ten
steps a run of thirty equal ones comes once in 10^46 (arithmetic). A digital tone, silence and the
bits of a code do repeat: they have a few lines, or a few values, or no level at all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import HOPS_PER_TICK, Hops
from engine.measure.recurrences import KNOWN_TICKS, Lag, NewTicks, Recurrences
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Repeat, Samples
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

_TONES: Final = 2
"""Repeats without life, as of a tone, that are looked at on a track in one tick: a tone agrees at
every multiple of its period, and on all tracks at once that would hold up the watch."""
_REST_TICKS: Final = 3
"""After which such a track is looked at anew."""


@dataclass(slots=True)
class _Open:
    lag: int
    begin_s: float


class RepeatFinder(TrackMemory):
    """Looks where the highest or lowest sample of a tick was reached before, to the last bit.

    Where that was, and whether the samples beside it are the same, is a plain function of the
    sound: asked for all ticks that come together at once. What follows is rare, and goes tick by
    tick.
    """

    _recurrences: Recurrences = remembered(By.PART, lambda d: d._new_recurrences())
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

    def _new_recurrences(self) -> Recurrences:
        limits = (int(limit_s * self._rate_hz) for limit_s in (SHORTEST_S, LONGEST_S))
        return Recurrences(self._tracks, self._hop_frames, *limits)

    def update(self, hops: Hops, starts_s: Sequence[float]) -> list[tuple[Repeat, ...]]:
        """Take in ticks that begin at those times; of each what repeats at its end, what ended."""
        first = self._number
        new = NewTicks.of(hops, first)
        self._recurrences.write(new)
        some = self._recurrences.candidates(new) & (new.top - new.bottom >= LEAST_SWING)
        some &= self._watched[:, None]
        if not hops.all_valid:
            some &= hops.by_tick(hops.valid).all(axis=2)
        # A tone is looked at now and then only, and tells nothing of the ticks between.
        lately = (self._rest_until > 0) & (self._rest_until + KNOWN_TICKS > first)
        lately[list(self._open)] = True
        found = self._recurrences.found(new, np.argwhere((some & ~lately[:, None]).T))
        said = []
        for tick, start_s in enumerate(starts_s):
            self._number = first + tick + 1
            known = sorted(self._open)
            repeats = [self._follow(track, start_s) for track in known]
            lags = [
                lag
                for lag in found.get(first + tick, [])
                if lag[0] not in known and self._rest_until[lag[0]] <= self._number
            ]
            again = some[:, tick] & lately & (self._rest_until <= self._number)
            again[known] = False
            if any_of(again):
                tracks = indices(again)
                pairs = np.stack([np.full_like(tracks, tick), tracks], axis=1)
                lags += self._recurrences.found(new, pairs).get(self._number - 1, [])
                lags.sort(key=lambda lag: lag[0])
            if lags:
                self._search(lags, start_s, repeats)
            said.append(tuple(repeats))
        return said

    def _search(self, lags: list[Lag], start_s: float, said: list[Repeat]) -> None:
        """Find the lag at which each of their tracks repeats, if it does."""
        end_s = start_s + self._tick_frames / self._rate_hz
        done: set[int] = set()
        lifeless: Counter[int] = Counter()
        of, sound = -1, np.empty(0, np.float32)
        for track, frame, lag in lags:
            if track in done or lifeless[track] >= _TONES:
                continue
            if track != of:
                of, sound = track, self._recurrences.sound(track, self._number)
            span = self._agrees(sound, len(sound) - self._tick_frames + frame, lag)
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

    def _agrees(self, sound: Samples, at: int, lag: int) -> tuple[int, int] | None:
        """First sample and end of the run round `at` that agrees, if it is long enough."""
        lowest = max(lag, len(sound) - 3 * len(sound) // KNOWN_TICKS)
        same = sound[lowest:] == sound[lowest - lag : len(sound) - lag]
        before, after = ~same[: at - lowest], ~same[at - lowest :]
        begin = lowest + (len(before) - int(before[::-1].argmax()) if any_of(before) else 0)
        end = at + int(after.argmax()) if any_of(after) else len(sound)
        return (begin, end) if end - begin >= LEAST_S * self._rate_hz else None

    def _follow(self, track: int, start_s: float) -> Repeat:
        """Whether an open repeat goes on through this tick."""
        sound, lag = self._recurrences.sound(track, self._number), self._open[track].lag
        count = self._tick_frames
        first = len(sound) - count
        off = sound[first:] != sound[first - lag : len(sound) - lag]
        end_s = start_s + count / self._rate_hz
        ended = any_of(off)
        return self._repeat(track, ended, count - int(off.argmax()) if ended else 0, end_s)

    def _repeat(self, track: int, ended: bool, left: int, end_s: float) -> Repeat:
        found = self._open[track]
        if ended:
            del self._open[track]
        until_s = end_s - left / self._rate_hz
        return Repeat(track, found.begin_s, until_s, found.lag / self._rate_hz, ended)


def _is_live(period: Samples) -> bool:
    """Whether what repeats was sound of a place: no tone, no code, no silence."""
    if len(set(period.tolist())) < min(VALUES, len(period) // 3):
        return False
    power = np.square(np.abs(np.fft.rfft(np.diff(period))))
    return bool(power.sum() ** 2 >= LINES * np.square(power).sum())
