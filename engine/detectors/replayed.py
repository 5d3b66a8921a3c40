"""Replay: a link plays a longer stretch of what came last once more, and converters change it.

Model: no stretch of live sound agrees in its treble with an earlier one, for breath and the place
are noise (see `concealed`); one that a link played again does, whatever converters added. The
highest sample of a stretch with the samples just before it is a mark by which it is found again:
noise far under the sound moves it by little. Where two marks agree, the correlation of the second
difference, piece by piece of 10 ms, decides and says from when to when. What swells as regularly as
a siren, or a scream that quavers, agrees by its lines alone (`phase_match`). What other microphones
hear again as well, a loudspeaker plays: a loop of music. Lengths of stretches: common practice, no
source.
"""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.phase_match import AGAIN, hann, phase_match
from engine.measure.repeats import LINES as TONE_LINES
from engine.model.messages import Measurement, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By

TICKS: Final = 12
"""Ticks whose marks are known, an even number: lags of up to 1.1 s."""
HOPS: Final = 10
BEFORE: Final = np.array([0, 3, 6, 10, 15, 21, 28, 36, 45, 55])
"""Samples of a mark, counted back from the highest."""
NEAR: Final = 0.1
"""Two marks differ by at most this part of their size; of two pulses of a vowel few do."""
LEAST: Final = 2e-3
"""Least height of a mark, full scale 1.0: noise at -90 dBFS moves one by 2 % (ours)."""
CORRELATION: Final = 0.97
"""Least correlation of the treble over the whole; live sound has 0.3."""
LINES: Final = 12.0
"""Least effective number of lines of its treble, as in `measure.repeats`; a note without noise of
its own has a dozen at most."""
OF_PIECE: Final = 0.9
"""The same of each piece of 10 ms: a consonant's edge holds less."""
ELSEWHERE: Final = 0.6
"""Where another track's treble recurs so at the same lag, it is the place that does."""
PERIODIC: Final = 0.7
"""Where its treble agrees so with itself some milliseconds later, it is an engine's or a note's: it
agrees with what was long before as well, and nothing was played again."""
REST_TICKS: Final = 10
"""A track that repeats without being played again, as a tone or a loop does, is left alone so long:
on all tracks at once it would hold up the watch."""
LEAST_PIECES: Final = 10
"""So many pieces of 10 ms are needed."""


Marks = tuple[NDArray[np.int64], Samples]
"""Of one tick; see `marks_of`."""


class Replay(TrackMemory):
    """Looks for the marks of two ticks at once among those of the second before."""

    _sounds: deque[Samples] = remembered(By.ANEW, lambda _: deque(maxlen=TICKS + 1))
    _marks: NDArray[np.float32] = remembered(
        By.ANEW, lambda d: np.zeros((d._tracks, TICKS * HOPS, len(BEFORE)), np.float32)
    )
    _power: NDArray[np.float32] = remembered(
        By.ANEW, lambda d: np.zeros((d._tracks, TICKS * HOPS), np.float32)
    )
    _at: NDArray[np.int64] = remembered(
        By.ANEW, lambda d: np.zeros((d._tracks, TICKS * HOPS), np.int64)
    )
    """Where they are, samples since the start."""
    _rest_until: NDArray[np.int64] = remembered(By.ANEW, lambda d: np.zeros(d._tracks, np.int64))
    _ticks: int = remembered(By.ANEW, 0)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    def update(self, m: Measurement, marks: Marks | None = None) -> list[tuple[int, float, float]]:
        """Tracks on which the newest ticks hold 0.1 s or more of a replay; from when to when, s.

        `marks` are those of this tick (`marks_of`), where they were made before.
        """
        sound = m.samples.T
        if self._sounds and self._sounds[-1].shape != sound.shape:
            self.reset()
        self._sounds.append(sound)
        if marks is None:
            (marks,) = marks_of(sound[np.newaxis], m.peak_at.T[np.newaxis])
        if marks is None:
            return []
        self._note(*marks, sound.shape[1])
        self._ticks += 1
        if self._ticks % 2 or self._ticks < 4:
            return []
        loud = m.present & (self._rest_until <= self._ticks)
        if not m.all_valid:
            loud &= m.valid.all(axis=0)
        if m.repeats:
            loud[[repeat.track_index for repeat in m.repeats]] = False
        said = []
        for track_index, at, lag in self._candidates(np.flatnonzero(loud), sound.shape[1]):
            if self._rest_until[track_index] > self._ticks:
                continue
            span = self._span(track_index, at, lag)
            if span is not None:
                sample_s = (m.end_s - m.start_s) / sound.shape[1]
                end = self._ticks * sound.shape[1]
                begin_s, end_s = (m.end_s - (end - one) * sample_s for one in span)
                said.append((track_index, begin_s, end_s))
        return said

    def _note(self, at: NDArray[np.int64], marks: Samples, size: int) -> None:
        """Keep the marks of the newest tick, which has so many frames."""
        first = self._ticks % TICKS * HOPS
        self._marks[:, first : first + HOPS] = marks
        self._power[:, first : first + HOPS] = np.vecdot(marks, marks)
        self._at[:, first : first + HOPS] = at + self._ticks * size

    def _candidates(self, tracks: NDArray[np.int64], size: int) -> list[tuple[int, int, int]]:
        """Track, place of the highest two marks of each of the newest two ticks, and how much later
        each is than the earlier one most like it."""
        said: list[tuple[int, int, int]] = []
        if not len(tracks):
            return said
        marks = self._marks[tracks]
        power = self._power[tracks]
        ticks = (self._ticks - 2, self._ticks - 1)
        firsts = [tick % TICKS * HOPS for tick in ticks]
        # The like of one may share a hop with a higher one, and have no mark: two are tried.
        newest = np.concatenate(
            [marks[:, a : a + HOPS, 0].argsort(axis=1)[:, (-1, -2)] + a for a in firsts], axis=1
        )
        rows = np.arange(len(tracks))[:, np.newaxis]
        new = marks[rows, newest]
        like = (marks[:, np.newaxis] @ new[..., np.newaxis])[..., 0]
        apart = power[:, np.newaxis] - 2.0 * like  # less the new one's own power
        for n, a in enumerate(firsts):
            apart[:, 2 * n : 2 * n + 2, a : a + HOPS] = np.inf
        best = apart.argmin(axis=2)
        near = (
            apart[rows, np.arange(newest.shape[1]), best] <= (NEAR**2 - 1.0) * power[rows, newest]
        )
        near &= new[..., 0] > LEAST
        for which, row in zip(*(one.tolist() for one in near.T.nonzero()), strict=True):
            at = self._at[tracks[row]]
            mark = int(at[newest[row, which]])
            lag = mark - int(at[best[row, which]])
            if lag >= LEAST_PIECES * size // HOPS:
                said.append((int(tracks[row]), mark, lag))
        return said

    def _span(self, track: int, at: int, lag: int) -> tuple[int, int] | None:
        """First sample and end of the replay that holds a mark, if it lies in one."""
        piece = self._sounds[-1].shape[1] // HOPS
        treble = self._treble(track, at - piece, at)
        lags = [lag + by for by in (0, -1, 1, -2, 2)]
        matches = self._matches(treble, track, at - piece - lag, lags)
        if max(matches) < OF_PIECE:
            return None
        if not _has_lines(self._treble(track, at - 5 * piece, at), TONE_LINES):
            self._rest_until[track] = self._ticks + REST_TICKS
            return None
        lag = lags[int(np.argmax(matches))]
        size = self._sounds[-1].shape[1]
        end = self._ticks * size
        first = max(end - len(self._sounds) * size + lag, at - 9 * size)
        first += (at - first) % piece
        now = self._treble(track, first, end)
        whole = len(now) // piece * piece
        now = now[:whole].reshape(-1, piece)
        old = self._treble(track, first - lag, end - lag)[:whole].reshape(-1, piece)
        energy = np.sqrt(np.vecdot(now, now) * np.vecdot(old, old))
        products = np.vecdot(now, old)
        off = np.flatnonzero(products < OF_PIECE * energy + 1e-20)
        here = (at - first) // piece - 1
        low = int(off[off <= here].max(initial=-1)) + 1
        high = int(off[off > here].min(initial=len(now)))
        alike = products[low:high].sum() >= CORRELATION * energy[low:high].sum()
        if high - low < LEAST_PIECES or not alike:
            return None
        begin, end = first + low * piece, first + high * piece
        own = now[low:high].ravel()
        lifeless = _is_periodic(own, piece) or not _has_lines(own, LINES)
        again = old[low:high].ravel()
        lifeless = lifeless or phase_match(own, again, (high - low) / (10 * HOPS)) < AGAIN
        if lifeless or self._is_elsewhere(track, begin, end, lag):
            self._rest_until[track] = self._ticks + REST_TICKS
            return None
        return begin, end

    def _matches(self, treble: Samples, track: int, begin: int, lags: list[int]) -> list[float]:
        """Match with what lies each of these lags before, the first of which leads to `begin`; the
        others are a sample or two off."""
        size = len(treble) + 2
        begins = [begin + lags[0] - lag for lag in lags]
        old = self._treble(track, begin - 2, begin + size + 2)
        if not len(old):  # some of it is not known any more
            return [_match(treble, self._treble(track, at, at + size)) for at in begins]
        return [_match(treble, old[at - begin + 2 :][: len(treble)]) for at in begins]

    def _is_elsewhere(self, track: int, begin: int, end: int, lag: int) -> bool:
        """Whether another track's treble, at the same lag, is heard again as well."""
        return any(
            _match(self._treble(other, begin, end), self._treble(other, begin - lag, end - lag))
            > ELSEWHERE
            for other in range(self._tracks)
            if other != track
        )

    def _treble(self, track: int, begin: int, end: int) -> Samples:
        """Second difference of a stretch of known sound, two samples less of it; or none."""
        size = self._sounds[-1].shape[1]
        oldest = self._ticks - len(self._sounds)
        if begin < oldest * size:
            return np.zeros(0, dtype=np.float32)
        ticks = range(begin // size - oldest, (end - 1) // size - oldest + 1)
        sound = np.concatenate([self._sounds[tick][track] for tick in ticks])
        return np.diff(sound[begin % size :][: end - begin], n=2)


def marks_of(sound: Samples, peak_at: NDArray[np.int64]) -> list[Marks | None]:
    """Of each tick where each hop's highest sample lies, (tracks, hops), and its mark, (tracks,
    hops, samples); None where a tick is too short for them.

    `sound` is (ticks, tracks, frames); `peak_at`, (ticks, tracks, hops), says in which frame of its
    hop the highest lies. A mark that begins before its tick is none.
    """
    ticks, tracks, size = sound.shape
    if size < HOPS * int(BEFORE[-1]):
        return [None] * ticks
    at = peak_at + np.arange(0, size, size // HOPS)
    where = np.maximum(at[..., np.newaxis] - BEFORE, 0)
    # In the order in which it lies in memory, of which numpy takes no copy first.
    by_track = sound.strides[0] < sound.strides[1]
    x = sound.swapaxes(0, 1) if by_track else sound
    step, row = (size, size * ticks) if by_track else (size * tracks, size)
    where += step * np.arange(ticks)[:, None, None, None] + row * np.arange(tracks)[:, None, None]
    marks = x.reshape(-1).take(where)
    return list(zip(at, marks, strict=True))


def _match(one: Samples, other: Samples) -> float:
    """Normalised correlation; 0 where either is unknown or silent."""
    if not len(one) or len(one) != len(other):
        return 0.0
    power = float(one @ one) * float(other @ other)
    return float(one @ other) / float(np.sqrt(power)) if power > 1e-24 else 0.0


def _is_periodic(treble: Samples, piece: int) -> bool:
    """It repeats within itself from a quarter of a piece on, as an engine does or a made voice."""
    size = len(treble)
    power = np.square(np.abs(np.fft.rfft(treble, 2 * size)))
    lags = np.arange(piece // 4, size // 2)
    match = np.fft.irfft(power)[: size // 2]
    return bool((match[lags] * size > PERIODIC * match[0] * (size - lags)).any())


def _has_lines(treble: Samples, least: float) -> bool:
    """It is no tone, nor a note without noise of its own."""
    power = np.square(np.abs(np.fft.rfft(treble * hann(len(treble)))))
    return bool(power.sum() ** 2 >= least * np.square(power).sum())
