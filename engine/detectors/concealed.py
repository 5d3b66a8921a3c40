"""Concealment: a link fills a gap with what came last, a few milliseconds again and again.

Model: what a microphone hears carries noise of its place and of itself, which never repeats; so in
the treble, where a voice is noise as well, no stretch of live sound agrees with one 10 to 20 ms
before it, and one that was made of a piece of 2.5 to 10 ms does, whatever converters and dither
followed, for that span holds a multiple of its period. Each piece may be weaker than the one before
it, so that a long gap fades: its levels then differ by one number of decibels. Levels over a
millisecond that differ by nothing else raise the suspicion (the differences of those of Gaussian
noise scatter by 1.25 dB: chi-square with 48 degrees of freedom, arithmetic), and the normalised
correlation of the treble affirms it, less what the noise of a converter takes from it. A tone
agrees as well, and a sung note does with all of its lines, but not between them: `phase_match`
decides. Lengths of pieces: common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.phase_match import phase_match
from engine.model.flag_arrays import indices
from engine.model.messages import Flags, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, per_track
from engine.model.units import IDLE_DBFS

LAGS: Final = (10, 21)
"""Steps of a millisecond between the stretches that are compared."""
WINDOW: Final = 25
"""Steps in each stretch, 25 ms: a filled gap of 60 ms holds a whole one."""
AGREE_DB: Final = 0.75
"""The differences of their levels scatter by less than this (standard deviation), where Gaussian
noise comes once in a thousand times (25 steps: chi-square, arithmetic)."""
FADE_DB: Final = 10.0
"""The later one is weaker by at most this: by 1 dB each 2.5 ms, a fade of 60 dB in 150 ms."""
LOUDER_DB: Final = 0.5
"""Nor is it louder, but for the noise that was added."""
CORRELATION: Final = 0.99
"""Least correlation of their treble; live sound has 0.3, a bird's call 0.85, a clipped voice of
steady pitch 0.98 (ours, measured)."""
DITHER: Final = 6.0 * 2.0**-32
"""Power of 16 bits with dither in the second difference, which is new each time (a quarter of a
step squared, by the squares of 1, 2 and 1: arithmetic); """
MOST_DITHER: Final = 0.1
"""it may be at most this part of the treble."""
IN_PHASE: Final = 0.975
"""Least `phase_match` of the two: pieces that were played again have 0.98 and more behind 16 bits
and a resampler, a shout that is clipped at most 0.97, a song 0.94, a tone over the noise of any
input 0.3 (ours, measured)."""
LONGEST_S: Final = 0.5
"""What repeats for longer is no gap that was filled: a note, a machine, a stuck buffer."""
TREBLE_SPAN: Final = 4
"""Samples that the treble of a sound is shorter than it."""
_MEAN: Final = np.full(WINDOW, 1.0 / WINDOW, dtype=np.float32)
_ROUNDED: Final = np.float32(0.01)
"""More than single precision rounds a mean of squares by that may agree: these are at most 101 dB
squared, and 25 of them are added (101 * 26 / 2**24, arithmetic)."""


class Concealment(TrackMemory):
    """Looks closer where the levels of a stretch are those of an earlier one, step for step."""

    _before: Samples = per_track(0.0, rows=0, dtype=np.float32)
    _begin_s: Levels = per_track(np.nan)
    _end_s: Levels = per_track(-np.inf)
    _runs: Flags = per_track(False)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    def update(
        self, m: Measurement, steps_db: NDArray[np.float32], newest: int, may: bool = True
    ) -> list[tuple[int, float, float]]:
        """Tracks on which a link filled a gap that is over, from when to when, s.

        `steps_db` has the levels over half a millisecond, shape (tracks, steps), the last
        `newest` of them of this tick; `may` is what `may_agree` says of it. A repeat that is exact
        is left to `measure.repeats`, which knows it by the next tick.
        """
        exact = [repeat.track_index for repeat in m.repeats]
        if exact:
            self._runs[exact] = False
        before, self._before = self._before, m.samples
        newest //= 2
        agreeing: set[int] = set()
        if may and len(before) == len(m.samples) and steps_db.shape[1] >= 2 * (newest + LAGS[1]):
            halves = steps_db[:, -2 * (newest + LAGS[1]) :]
            differ_db, lags = _differences(_milliseconds(halves), newest)
            for track_index in indices(differ_db.min(axis=1) < AGREE_DB).tolist():
                if track_index not in exact:
                    here = (differ_db[track_index], lags[track_index])
                    if self._agrees(track_index, before, m, newest, *here):
                        agreeing.add(track_index)
        return self._ended(agreeing)

    def _agrees(
        self,
        track_index: int,
        before: Samples,
        m: Measurement,
        newest: int,
        differ_db: NDArray[np.float32],
        lags: NDArray[np.int64],
    ) -> bool:
        """Whether the treble of that track agrees as well; its run begins or goes on then."""
        stretch = int(differ_db.argmin())
        lag = LAGS[0] + int(lags[stretch])
        sound = np.concatenate([before[:, track_index], m.samples[:, track_index]])
        frames = len(m.samples) // newest
        if not _repeats(sound, len(before) + frames * stretch * WINDOW, frames, lag):
            return False
        step_s = (m.end_s - m.start_s) / newest
        agrees = indices(differ_db < AGREE_DB)
        begin_s, end_s = (m.start_s + at * WINDOW * step_s for at in (agrees[0], agrees[-1] + 1))
        if begin_s - self._end_s[track_index] > m.end_s - m.start_s:
            self._begin_s[track_index] = begin_s
        self._end_s[track_index] = end_s
        self._runs[track_index] = True
        return True

    def _ended(self, agreeing: set[int]) -> list[tuple[int, float, float]]:
        """Runs that do not go on in this tick and were short enough for a gap."""
        ended = []
        for track_index in indices(self._runs).tolist():
            if track_index in agreeing:
                continue
            self._runs[track_index] = False
            begin_s, end_s = float(self._begin_s[track_index]), float(self._end_s[track_index])
            if end_s - begin_s <= LONGEST_S:
                ended.append((track_index, begin_s, end_s))
        return ended


def may_agree(steps_db: NDArray[np.float32], ticks: int, newest: int) -> list[bool]:
    """In which of the newest ticks any stretch may agree with one before it.

    `steps_db` as in `Concealment.update`, `newest` steps in each tick. All at once, so that sums
    may end in other last bits; where they may decide, the answer is yes.
    """
    newest //= 2
    early = max(2 * (ticks * newest + LAGS[1]) - steps_db.shape[1], 0)
    if early:
        pad = np.full((len(steps_db), early), np.nan, dtype=np.float32)
        steps_db = np.concatenate([pad, steps_db], axis=1)
    tail = _milliseconds(steps_db[:, -2 * (ticks * newest + LAGS[1]) :])
    row, item = tail.strides
    size = newest // WINDOW * WINDOW
    shape = (len(tail), ticks, LAGS[1] - LAGS[0] + 1, size)
    now_db, earlier_db = (
        np.ndarray(shape, tail.dtype, tail, first * item, (row, newest * item, step * item, item))
        for first, step in ((LAGS[1], 0), (LAGS[1] - LAGS[0], -1))
    )
    differ_db = (now_db - earlier_db).reshape(-1, WINDOW)
    means_db = differ_db @ _MEAN
    np.square(differ_db, out=differ_db)
    agree = differ_db @ _MEAN - means_db**2 < AGREE_DB**2 + _ROUNDED
    agree &= (means_db > -FADE_DB - _ROUNDED) & (means_db < LOUDER_DB + _ROUNDED)
    stretches = (len(tail), ticks, size // WINDOW)
    quiet = now_db[:, :, 0].reshape(*stretches, WINDOW).min(axis=3) < IDLE_DBFS
    agree = agree.reshape(len(tail), ticks, -1, stretches[2]).any(axis=2) & ~quiet
    return [bool(said) for said in agree.any(axis=(0, 2))]


def _milliseconds(steps_db: NDArray[np.float32]) -> NDArray[np.float32]:
    """Levels of two steps of half a millisecond each, from the first on."""
    return np.ascontiguousarray(np.float32(0.5) * (steps_db[:, ::2] + steps_db[:, 1::2]))


def _differences(
    steps_db: NDArray[np.float32], newest: int
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Least scatter of the differences in level of each stretch to one before it, dB, and at which
    lag; both of shape (tracks, stretches); infinite where nothing sounds."""
    stretches = newest // WINDOW
    size = stretches * WINDOW
    first = steps_db.shape[1] - newest - LAGS[1]
    tail = np.ascontiguousarray(steps_db[:, first : first + size + LAGS[1]])
    now_db = tail[:, LAGS[1] :]
    # A view at each lag, the shortest first.
    row, item = tail.strides
    lags = LAGS[1] - LAGS[0] + 1
    begin = (LAGS[1] - LAGS[0]) * item
    earlier_db: NDArray[np.float32] = np.ndarray(
        (len(tail), lags, size), tail.dtype, tail, begin, (row, -item, item)
    )
    differ_db = now_db[:, None] - earlier_db
    means_db = (differ_db.reshape(-1, WINDOW) @ _MEAN).reshape(len(tail), -1, stretches)
    np.square(differ_db, out=differ_db)
    scatter = (differ_db.reshape(-1, WINDOW) @ _MEAN).reshape(means_db.shape) - means_db**2
    scatter[~((means_db > -FADE_DB) & (means_db < LOUDER_DB))] = np.inf
    least = scatter.min(axis=1)
    quiet = now_db.reshape(len(tail), stretches, WINDOW).min(axis=2) < IDLE_DBFS
    least[quiet | np.isnan(least)] = np.inf
    return np.sqrt(np.maximum(least, 0.0)), scatter.argmin(axis=1)


def _repeats(sound: Samples, first: int, frames: int, lag: int) -> bool:
    """Whether the stretch from `first` agrees in its treble with one about `lag` steps before."""
    size, reach = WINDOW * frames, frames
    begin = first - lag * frames - reach
    made = treble(sound[begin : first + size].astype(np.float64))
    own, other = made[-size:], made[: size + 2 * reach]
    match, power = matches(own, other)
    match -= CORRELATION * power - np.minimum(DITHER * size, MOST_DITHER * power) + 1e-30
    if (match < 0.0).all():
        return False
    at = begin + TREBLE_SPAN + int(match.argmax())  # its treble lies as much later
    here, there = sound[first : first + size], sound[at : at + size]
    return phase_match(here, there, WINDOW * 1e-3) >= IN_PHASE


def matches(own: Samples, other: Samples) -> tuple[Samples, Samples]:
    """Products of a stretch with each as long of the other sound, and what they would be if those
    were alike."""
    energy = np.cumsum(np.concatenate([[0.0], np.square(other)]))
    energy = energy[len(own) :] - energy[: -len(own)]
    return np.correlate(other, own, "valid"), np.sqrt(energy * np.square(own).sum())


def treble(sound: Samples) -> Samples:
    """Second difference over every other sample, four samples less of it: it weighs a quarter of
    the rate most, and little near half of it, where resamplers fold the band."""
    return np.asarray(sound[4:] - 2.0 * sound[2:-2] + sound[:-4])
