"""Copies of one signal that come a little later: the same source by another path of cables.

Model: a copy that went through another converter or network hop is as many samples late as that
takes, and nothing else: the cross-correlation has one sharp peak near 1 at that lag, in words and
in the pauses between them. Two mics side by side share words, but each has its own cloth, body and
noise in the pauses. Candidates are pairs whose levels over 50 ms follow each other; only for them
the correlation is made (by FFT, as in C. H. Knapp and G. C. Carter, IEEE Trans. ASSP 24(4), 1976).
One loud source may bring two mics to any r, but never their own noise: what is left when the best
copy is taken off, 1 - r^2 of the energy, lies under the background of a true copy, and over it
where each mic has its own. Where a drone hides the background, what lies between its lines tells:
there a copy has the same phases too (`phase_match`).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.phase_match import phase_match
from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import fast_length

LONGEST_S: Final = 0.001
"""Longest lag, s: a metre of air takes 2.9 ms, a network hop up to one (common practice)."""
ALIKE: Final = 0.985
"""Least correlation of the levels of two tracks over 50 ms, in dB, over 1.5 s, then of the sound
itself at the lag: what differs lies 15 dB under it."""
ALL_IN_PHASE: Final = (0.95, 0.9)
"""Or what differs lies 10 dB under it, and the phases match at all frequencies, which the noise of
two mics never lets them: a copy at the floor behind another converter."""
LEAST_LAG: Final = 0.25
"""A copy that is hardly late matches at lag zero as well."""
NEARLY: Final = 2.0 / np.pi
"""From here on it is looked at between two samples: so much has white noise half a sample off (the
cardinal sine)."""
TICKS: Final = 28
IN_STEP: Final = 0.9
"""Share of the newest ticks that must match at one lag, with words or without; two who hug take
turns."""
LEFT: Final = 0.5
"""What is left lies under this share of the background of either, """
LEFT_TICKS: Final = 2
"""in so many of the newest ticks: a copy late by a part of a sample does in pauses alone."""
QUIET_TICKS: Final = 300
"""The background is the least tick of 30 s."""
IN_PHASE: Final = 0.5
"""Least match of the phases in so many ticks, too: a converter's noise may hide the treble."""
_FRAMES: Final = 30
_PARTS: Final = np.arange(-7, 8) / 14.0
_AGAIN_TICKS: Final = 20
"""A pair that did not match is not asked again for two seconds."""


@dataclass(slots=True)
class LaggedCopy:
    """Ticks in which two tracks matched: at which lag, and from when on they do."""

    since_s: float
    lags: deque[float | None] = field(default_factory=lambda: deque(maxlen=TICKS))
    clean: deque[bool] = field(default_factory=lambda: deque(maxlen=TICKS))
    r: float = 0.0

    @property
    def lag(self) -> float | None:
        """The lag of nearly all ticks, in samples; None where there is none, or next to none."""
        counted = [lag for lag in self.lags if lag is not None]
        if len(counted) < IN_STEP * TICKS or sum(self.clean) < LEFT_TICKS:
            return None
        middle = sorted(counted)[len(counted) // 2]
        near = sum(abs(lag - middle) <= 1 for lag in counted)
        return middle if near >= IN_STEP * TICKS and abs(middle) >= LEAST_LAG else None


class PairLevels(NamedTuple):
    """What was made of one tick before it is asked of.

    levels_db : (levels, tracks) the newest, up to its end
    treble : (tracks,) its background
    follows : (tracks, tracks) how far the levels of two go together; None where those of none do
    """

    levels_db: Levels
    treble: Levels
    follows: Levels | None


class LaggedCopies(TrackMemory):
    """Follows pairs whose levels go together, and correlates them."""

    pairs: dict[tuple[int, int], LaggedCopy] = remembered(By.KEYS, lambda _: {})
    _levels_db: Levels = per_track(np.nan, rows=_FRAMES)
    _quiet: Levels = per_track(np.nan, rows=QUIET_TICKS)
    _asked_at: dict[tuple[int, int], int] = remembered(By.KEYS, lambda _: {})
    _tick: int = remembered(By.WHOLE, 0)

    def __init__(self, asked: Flags, sample_rate_hz: int) -> None:
        """Start with nothing heard; `asked` has shape (tracks, tracks)."""
        self._tracks = len(asked)
        self._asked = asked
        self.most_lag = max(1, round(LONGEST_S * sample_rate_hz))
        self.reset()

    def foresee(self, block: TickBlock) -> list[PairLevels]:
        """What is a plain function of the sound, of each tick."""
        power = block.field("mean_square")
        half = power.shape[1] // 2
        halves = np.stack([power[:, :half].mean(axis=1), power[:, half:].mean(axis=1)], axis=1)
        new_db = 10.0 * np.log10(halves.reshape(-1, self._tracks) + 1e-20)
        levels_db = np.concatenate([self._levels_db, new_db])
        row, item = levels_db.strides
        shape, strides = (len(power), _FRAMES, self._tracks), (2 * row, row, item)
        levels_db = np.ndarray(shape, levels_db.dtype, levels_db, 2 * row, strides)
        # The median, so that a moment of digital silence is no background.
        energy = block.field("difference_energy")
        half = energy.shape[1] // 2
        middle = np.partition(energy, (half - 1, half), axis=1)
        treble = (middle[:, half - 1] + middle[:, half]) / 2
        for tick, m in enumerate(block.ticks):
            if not m.all_valid:
                treble[tick, ~m.valid.all(axis=0)] = np.nan
        follows = self._together(levels_db)
        some = follows.max(axis=(1, 2)) >= ALIKE
        return [
            PairLevels(levels_db[tick], treble[tick], follows[tick] if some[tick] else None)
            for tick in range(len(power))
        ]

    def _together(self, levels_db: Levels) -> Levels:
        """Correlation of every two tracks' levels, shape (ticks, tracks, tracks), 0 where it is
        unknown or not asked; `levels_db` is (ticks, levels, tracks)."""
        off_db = levels_db - levels_db.mean(axis=1, keepdims=True)
        norm = np.sqrt(np.square(off_db).sum(axis=1))
        with np.errstate(invalid="ignore", divide="ignore"):
            r = (off_db.swapaxes(1, 2) @ off_db) / (norm[:, :, None] * norm[:, None, :])
        return np.where(self._asked & ~np.isnan(r), r, 0.0)

    def update(self, m: Measurement, ahead: PairLevels) -> None:
        """Take in one tick with what was made of it."""
        self._levels_db = ahead.levels_db
        self._quiet[self._tick % QUIET_TICKS] = ahead.treble
        self._tick += 1
        if not self.pairs and ahead.follows is None:
            return
        before_s = 0.5 * _FRAMES * (m.end_s - m.start_s)
        for pair in sorted({*self.pairs, *self._candidate(ahead.follows)}):
            copy = self.pairs.setdefault(pair, LaggedCopy(max(m.end_s - before_s, 0.0)))
            copy.lags.append(self._match(pair, m, copy))
            if not any(lag is not None for lag in list(copy.lags)[-5:]):
                del self.pairs[pair]

    def _candidate(self, follows: Levels | None) -> list[tuple[int, int]]:
        """The pair, not followed yet, whose levels go together best, if they do."""
        if follows is None:
            return []
        r = follows.copy()
        for (a, b), tick in self._asked_at.items():
            if self._tick - tick < _AGAIN_TICKS or (a, b) in self.pairs:
                r[a, b] = 0.0
        a, b = (int(n) for n in np.unravel_index(int(r.argmax()), r.shape))
        if r[a, b] < ALIKE:
            return []
        self._asked_at[a, b] = self._tick
        return [(a, b)]

    def _match(self, pair: tuple[int, int], m: Measurement, copy: LaggedCopy) -> float | None:
        """The lag at which the two match in this tick, if they do."""
        x = m.samples.T[list(pair)]
        step = x[:, 4:] - x[:, :-4]
        first, second = step
        if not (first.any() and second.any()):
            return None
        size = fast_length(step.shape[1] + self.most_lag)  # no lag asked for comes round the end
        spectra = np.fft.rfft(step, size)
        across = spectra[1] * np.conj(spectra[0])
        match = np.fft.irfft(across, size)
        lags = np.concatenate([match[-self.most_lag :], match[: self.most_lag + 1]])
        lag = int(np.abs(lags).argmax()) - self.most_lag
        # Over what of the two overlaps at that lag, so that the ends cost nothing.
        first, second = first[max(-lag, 0) :], second[max(lag, 0) :]
        first, second = first[: len(second)], second[: len(first)]
        norm = float(np.linalg.norm(first) * np.linalg.norm(second))
        r, part = abs(float(first @ second)) / max(norm, 1e-30), 0.0
        if r >= NEARLY:
            part, between = _between(spectra, size, lag)
            r = max(r, between)
        least, in_phase = ALL_IN_PHASE
        clean, alike = self._is_clean(pair, first, second, r), r >= ALIKE
        if clean or (r >= least and not alike):
            phases = phase_match(x[0], x[1], m.end_s - m.start_s, lag + part)
            clean &= phases >= IN_PHASE
            alike |= r >= least and phases >= in_phase
        copy.clean.append(clean)
        if not alike:
            return None
        copy.r = r
        return lag + part

    def _is_clean(self, pair: tuple[int, int], first: Samples, second: Samples, r: float) -> bool:
        """Whether what is left of either lies under its background."""
        energy = np.array([first @ first, second @ second]) / len(first)
        background = np.fmin.reduce(self._quiet[:, list(pair)])
        return any_of(max(1.0 - r * r, 0.0) * energy <= LEFT * background)


def _between(spectra: NDArray[np.complexfloating], size: int, lag: int) -> tuple[float, float]:
    """How much later than that lag the correlation is best, as another converter delays by no whole
    number of samples; and what it is there, less what the ends cost: never over 1.

    `spectra` are those of the two sounds, padded to `size`, shape (2, bins).
    """
    roots, cosines, sines = _turns(size)
    at_lag = roots[lag * np.arange(spectra.shape[1]) % size]
    across = spectra[1] * np.conj(spectra[0]) * at_lag
    even, odd = cosines @ across.real, sines @ across.imag
    match = np.abs(np.concatenate([(even + odd)[:0:-1], even - odd]))
    best = int(match.argmax())
    norm = float(np.prod(np.linalg.norm(spectra, axis=1)))
    return float(_PARTS[best]), float(match[best]) / max(norm, 1e-30)


@lru_cache(2)
def _turns(size: int) -> tuple[NDArray[np.complex128], Levels, Levels]:
    """The roots of one, (size,), and by how much each part of a sample turns each bin: cosine and
    sine, (parts from 0 on, bins)."""
    roots = np.exp(2j * np.pi * np.arange(size) / size)
    turn = 2.0 * np.pi * np.arange(size // 2 + 1) / size
    turned = np.outer(_PARTS[len(_PARTS) // 2 :], turn)
    return roots, np.cos(turned), np.sin(turned)
