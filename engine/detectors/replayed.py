"""Replay: a link plays a longer stretch of what came last once more, and converters change it.

Model: no stretch of live sound agrees in its treble with an earlier one, for breath and the place
are noise (see `concealed`); one that a link played again does, whatever converters added. The
highest sample of a stretch with the samples just before it is a mark by which it is found again:
noise far under the sound moves it by little. Where two marks agree, the correlation of the second
difference, piece by piece of 10 ms, decides and says from when to when. What other microphones hear
again as well, a loudspeaker plays: a loop of music. Lengths of
stretches: common practice, no source.
"""

from __future__ import annotations

from collections import deque
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.concealed import LINES
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


class Replay(TrackMemory):
    """Looks for the marks of two ticks at once among those of the second before."""

    _sounds: deque[Samples] = remembered(By.ANEW, lambda _: deque(maxlen=TICKS + 1))
    _marks: NDArray[np.float32] = remembered(
        By.ANEW, lambda d: np.zeros((d._tracks, TICKS * HOPS, len(BEFORE)), np.float32)
    )
    _at: NDArray[np.int64] = remembered(
        By.ANEW, lambda d: np.zeros((d._tracks, TICKS * HOPS), np.int64)
    )
    """Where they are, samples since the start."""
    _rest_until: NDArray[np.int64] = remembered(By.ANEW, lambda d: np.zeros(d._tracks, np.int64))
    _ticks: int = remembered(By.ANEW, 0)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self._rows = np.arange(tracks)
        self.reset()

    def update(self, m: Measurement) -> list[tuple[int, float, float]]:
        """Tracks on which the newest ticks hold 0.1 s or more of a replay; from when to when, s."""
        sound = m.samples.T
        if self._sounds and self._sounds[-1].shape != sound.shape:
            self.reset()
        self._sounds.append(sound)
        if sound.shape[1] < HOPS * int(BEFORE[-1]):
            return []
        self._mark(sound)
        self._ticks += 1
        if self._ticks % 2 or self._ticks < 4:
            return []
        loud = m.present & m.valid.all(axis=0)
        loud &= self._rest_until <= self._ticks
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

    def _mark(self, sound: Samples) -> None:
        """Note the mark of each hop of the newest tick; one that begins before it is none."""
        size = sound.shape[1]
        hops = sound.reshape(self._tracks, HOPS, -1)
        at = hops.argmax(axis=2) + np.arange(0, size, size // HOPS)
        first = self._ticks % TICKS * HOPS
        where = np.maximum(at[..., None] - BEFORE, 0)
        self._marks[:, first : first + HOPS] = sound[self._rows[:, None, None], where]
        self._at[:, first : first + HOPS] = at + self._ticks * size

    def _candidates(self, tracks: NDArray[np.int64], size: int) -> list[tuple[int, int, int]]:
        """Track, place of the highest two marks of each of the newest two ticks, and how much later
        each is than the earlier one most like it."""
        said: list[tuple[int, int, int]] = []
        if not len(tracks):
            return said
        marks = self._marks[tracks]
        power = np.vecdot(marks, marks)
        rows = np.arange(len(tracks))
        # The like of one may share a hop with a higher one, and have no mark: two are tried.
        for tick, rank in product((self._ticks - 2, self._ticks - 1), (-1, -2)):
            first = tick % TICKS * HOPS
            hop = first + marks[:, first : first + HOPS, 0].argsort(axis=1)[:, rank]
            new = marks[rows, hop]
            apart = power - 2.0 * (marks @ new[..., None])[..., 0]  # less the new one's own power
            apart[:, first : first + HOPS] = np.inf
            best = apart.argmin(axis=1)
            near = apart[rows, best] <= (NEAR**2 - 1.0) * power[rows, hop]
            near &= new[:, 0] > LEAST
            for row in np.flatnonzero(near).tolist():
                at = self._at[tracks[row]]
                lag = int(at[hop[row]] - at[best[row]])
                if lag >= LEAST_PIECES * size // HOPS:
                    said.append((int(tracks[row]), int(at[hop[row]]), lag))
        return said

    def _span(self, track: int, at: int, lag: int) -> tuple[int, int] | None:
        """First sample and end of the replay that holds a mark, if it lies in one."""
        piece = self._sounds[-1].shape[1] // HOPS
        treble = self._treble(track, at - piece, at)
        lags = [lag + by for by in (0, -1, 1, -2, 2)]
        matches = [_match(treble, self._treble(track, at - piece - one, at - one)) for one in lags]
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
        if lifeless or self._is_elsewhere(track, begin, end, lag):
            self._rest_until[track] = self._ticks + REST_TICKS
            return None
        return begin, end

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
    power = np.square(np.abs(np.fft.rfft(treble * np.hanning(len(treble)))))
    return bool(power.sum() ** 2 >= least * np.square(power).sum())
