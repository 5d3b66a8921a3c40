"""Duplicate: two inputs carry the same signal; a cable or a route is patched twice.

Model: a copy matches at zero lag at all frequencies, whatever its gain, while sound takes 2.9 ms a
metre from one microphone to another, so that what they share shifts, and the more the higher the
frequency. Pearson's r at lag zero, in a band in which a few centimetres count, tells the residual
after the best gain is taken off, 10*log10(1 - r^2) dB: -12 dB at 0.97; of two packs of one `who`,
which may lie side by side, -30 dB are asked for, which only a patch reaches. Chance plays no part
(of 960 independent samples r has a deviation of 0.03: arithmetic), but one source that both hear
does: so what matched must be spread over the band, as a bell or a whistle is not, and match best
at lag zero (cross-correlation, as in C. H. Knapp and G. C. Carter, IEEE Trans. ASSP 24(4), 1976),
as two who hug do not for long. One loud source may bring two mics to any r, but not their own
noise: what is left of a copy lies under its background (`lagged_copies`), or, where another path
added noise, it matches again word after word. Numbers: common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.lagged_copies import (
    IN_STEP,
    LEFT,
    LEFT_TICKS,
    QUIET_TICKS,
    LaggedCopies,
    PairLevels,
)
from engine.detectors.step_spectra import Spectrum, StepSpectra
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import hop_frames, mean_square_at, nearest_divisor

ALIKE_PACKS: Final = 0.9995
"""Least r at lag zero of two packs of one `who`, which may lie side by side."""
ALIKE_OTHER_PACKS: Final = 0.9985
"""The same of two packs of different performers (-25 dB): plugged into each other's inputs they may
be one performer's pair after all, which is `swapped`."""
LEAST_SIGNAL_S: Final = 1.0
"""So much signal has to match before anything is said."""
WORDS: Final = 3
"""Stretches that match, with a pause between."""
BROAD: Final = 16.0
"""Effective number of 10 Hz bands that matched: the ratio of the squared sum of their powers to
the sum of the squares. A few tones have 2 each; a voice has over 20 within a second."""
MOST_SOURCES: Final = 3
"""Inputs, the lowest first, that one is held against at a time: a line-up tone makes all alike, and
two thousand pairs of 64 tracks would hold up the watch."""
_SMALL: Final = 200_000
"""Products in one piece of a matrix product."""
SLOW_HZ: Final = 9600.0
"""Steps between samples at this rate stress 1 to 4 kHz."""


@dataclass(slots=True)
class _Match:
    """Two tracks alike: since when, until when, how much signal matched, and the residual.

    `alike_s` is when they last matched, `last_s` also counts the pauses between; `loudest` holds
    the energy of each in the loudest tick that matched.
    """

    onset_s: float
    last_s: float
    alike_s: float
    signal_s: float = 0.0
    loudest: Levels = field(default_factory=lambda: np.zeros(2))
    residual_db: float = 0.0
    spectrum: Levels | float = 0.0
    told: bool = False
    ticks: int = 0
    in_step: int = 0
    clean: int = 0
    words: int = 1
    paused: bool = False
    sure: bool = False

    def add(self, a: Spectrum, b: Spectrum, r: float) -> None:
        """Take in the spectra of the slow steps of a tick that matched; tells where it is sure."""
        self.residual_db = 10.0 * np.log10(max(1.0 - min(r, 1.0) ** 2, 1e-6))
        if not self.told:
            across = a * np.conj(b)
            self.spectrum = self.spectrum + np.maximum(across.real, 0.0)
            broad = self.spectrum.sum() ** 2 >= BROAD * np.square(self.spectrum).sum()
            enough = self.clean >= LEFT_TICKS or self.words >= WORDS
            self.told = enough and self.signal_s >= LEAST_SIGNAL_S and bool(broad)

    def at_lag(self, lag: int) -> None:
        """Take in where the whole sound of that tick matches best: nearly always in step, or the
        match is not reported yet."""
        self.ticks += 1
        self.in_step += lag == 0
        self.told &= self.in_step >= IN_STEP * self.ticks
        self.sure = self.told


class _Correlated(NamedTuple):
    """What was made of one tick before it is asked of.

    step : (tracks, steps) steps of the slow sound
    r : (tracks, tracks) Pearson's r of every two tracks at lag zero
    heard : (tracks,) has sound to correlate
    energy, background : (tracks,) energy of the steps, and the same, NaN where nothing is heard
    some_alike : any two that are asked about are
    levels : what `lagged_copies` made
    """

    step: Samples
    r: Levels
    heard: Flags
    energy: Levels
    background: Levels
    some_alike: bool
    levels: PairLevels


class Duplicate(TrackMemory):
    """Correlates every track with every other, all at once, and follows the pairs that match."""

    NEEDS_SAMPLES: ClassVar = True

    _matches: dict[tuple[int, int], _Match] = remembered(By.KEYS, lambda _: {})
    _lagged: LaggedCopies = remembered(
        By.PART, lambda d: LaggedCopies(d._asked & ~d._packs, d._rate_hz)
    )
    _quiet: Levels = per_track(np.nan, rows=QUIET_TICKS)
    _tick: int = remembered(By.WHOLE, 0)
    _told: dict[int, tuple[int, float]] = remembered(By.ANEW, lambda _: {})

    def __init__(
        self,
        scene: Scene,
        *,
        alike: float = 0.97,
        at_floor: float = 0.995,
        unlike: float = 5.0,
        as_loud: float = 0.25,
        above_floor_db: float = 10.0,
        pause_s: float = 2.0,
        told_pause_s: float = 10.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        alike : float
            Least r at lag zero of two inputs that carry one signal.
        at_floor : float
            Such a match needs no signal over the floor: two places never are so alike.
        unlike : float
            Two that matched no longer do where so many times what a match may leave is left over,
            in a tick as loud as when they matched.
        as_loud : float
            Share of the energy of the loudest tick that matched: in fainter ones the
            noise of two converters may make the difference.
        above_floor_db : float
            dB. Both tracks carry a signal: this far above their floors; none does whose floor is
            not known yet.
        pause_s : float
            s. A pause in which nothing speaks against it ends no match before that.
        told_pause_s : float
            s. The same for a match that was reported.
        """
        self._alike = alike
        self._at_floor = at_floor
        self._as_loud = as_loud
        self._above_floor_db = above_floor_db
        self._pause_s = pause_s
        self._told_pause_s = told_pause_s
        self._watched = scene.watched(Fault.DUPLICATE)
        self._tracks = len(scene.tracks)
        self._inputs = tuple(track.input for track in scene.tracks)
        tick_frames = 10 * hop_frames(scene.sample_rate_hz)
        self._factor = nearest_divisor(tick_frames, scene.sample_rate_hz / SLOW_HZ)
        self._ones = np.ones(self._factor, dtype=np.float32)
        self._piece = max(16, _SMALL // max(1, self._tracks**2))
        self._least = np.full((self._tracks, self._tracks), self._alike)
        self._rate_hz = scene.sample_rate_hz
        self._packs = np.zeros((self._tracks, self._tracks), dtype=np.bool_)
        paired = np.zeros(self._tracks, dtype=np.bool_)
        paired[[n for pair in scene.pairs() for n in pair]] = True
        self._least[paired[:, None] & paired[None, :]] = ALIKE_OTHER_PACKS
        for main, safety in scene.pairs():
            self._packs[main, safety] = self._packs[safety, main] = True
            self._least[main, safety] = self._least[safety, main] = ALIKE_PACKS
        self._unlike = np.sqrt(1.0 - unlike * (1.0 - np.square(self._least)))
        ahead = np.triu(np.ones((self._tracks, self._tracks), dtype=np.bool_), 1)
        self._asked: Flags = ahead & self._watched[:, None] & self._watched[None, :]
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Correlate the tracks in those ticks at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active on the higher input of two that match, once enough signal did."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        self._quiet[self._tick % QUIET_TICKS] = ahead.background
        self._tick += 1
        if self._matches or ahead.some_alike:
            r, heard = ahead.r, ahead.heard
            signal = self._signal(m) & heard
            both = (signal[:, None] & signal[None, :]) | (r >= self._at_floor)
            alike = (r >= self._least) & self._asked
            self._follow(alike, both, r, ahead.step, ahead.energy, m)
        self._lagged.update(m, ahead.levels)
        return self._condition(m)

    def _foresee(self, block: TickBlock) -> Iterator[_Correlated]:
        """The steps of the slow sound of each tick, and how every two tracks' go together."""
        x = block.sound
        # The library may flag what lies beside its operands as invalid: what was fed is finite.
        with np.errstate(invalid="ignore"):
            slow = x.reshape(*x.shape[:2], -1, self._factor) @ self._ones
        step = slow[:, :, 1:] - slow[:, :, :-1]
        # In pieces too small for the library to start threads, which cost more than they bring.
        across = np.zeros((len(x), self._tracks, self._tracks), dtype=np.float32)
        for first in range(0, step.shape[2], self._piece):
            piece = step[:, :, first : first + self._piece]
            across += piece @ piece.swapaxes(1, 2)
        energy = np.diagonal(across, axis1=1, axis2=2)
        heard = energy > 0.0
        for tick, m in enumerate(block.ticks):
            if not m.all_valid:
                heard[tick] &= m.valid.all(axis=0)
        norm = np.sqrt(np.where(heard, energy, 1.0))
        r = across.astype(np.float64) / (norm[:, :, None] * norm[:, None, :])
        alike = ((r >= self._least) & self._asked).any(axis=(1, 2)).tolist()
        steps = energy.astype(np.float64)
        background = np.where(heard, steps, np.nan)
        levels = self._lagged.foresee(block)
        for part in zip(step, r, heard, steps, background, alike, levels, strict=True):
            yield _Correlated(*part)

    def _signal(self, m: Measurement) -> Flags:
        limit = mean_square_at(m.floor_dbfs + self._above_floor_db)
        return np.asarray(m.mean_square.mean(axis=0) >= limit)

    def _follow(
        self, alike: Flags, both: Flags, r: Levels, step: Samples, steps: Levels, m: Measurement
    ) -> None:
        """Lengthen the matches, end those that signal speaks against, begin new ones."""
        energy, spectra = (
            m.mean_square.sum(axis=0),
            StepSpectra(m.samples, step, self._lagged.most_lag),
        )
        sources = Counter(b for _, b in self._matches)
        for pair in [p for p in self._matches if r[p] < self._unlike[p]]:
            track_indices, matched = list(pair), self._matches[pair]
            loud = both[pair]
            if matched.signal_s:
                loud = any_of(energy[track_indices] >= self._as_loud * matched.loudest)
            if loud and m.valid[:, track_indices].all():
                del self._matches[pair]
                sources[pair[1]] -= 1
        for a, b in np.argwhere(alike & np.isfinite(r)).tolist():
            match = self._matches.get((a, b))
            if match is None:
                if sources[b] >= MOST_SOURCES or not m.valid[:, [a, b]].all():
                    continue
                sources[b] += 1
                match = self._matches[a, b] = _Match(m.start_s, m.end_s, m.end_s)
            match.words += match.paused
            match.alike_s, match.paused = m.end_s, False
            if both[a, b]:
                match.signal_s += m.end_s - m.start_s
                match.loudest = np.maximum(match.loudest, energy[[a, b]])
                background = np.fmin.reduce(self._quiet[:, [a, b]])
                left = max(1.0 - float(r[a, b]) ** 2, 0.0) * steps[[a, b]]
                match.clean += any_of(left <= LEFT * background)
                match.add(spectra.slow(a), spectra.slow(b), float(r[a, b]))
                if not match.sure:
                    match.at_lag(spectra.best_lag(a, b))
        for pair, match in list(self._matches.items()):
            match.paused |= bool(match.alike_s < m.end_s and not both[pair])
            if m.end_s - match.alike_s <= (self._told_pause_s if match.told else self._pause_s):
                match.last_s = m.end_s
            elif not match.told:  # quiet moments matched by chance
                del self._matches[pair]

    def _condition(self, m: Measurement) -> Condition:
        if not self._matches and not self._lagged.pairs:
            self._told = {}
            return quiet(m.any_valid & self._watched)
        onset_s, last_s = np.full((2, self._tracks), np.nan)
        partners: NDArray[np.int64] = np.full(self._tracks, -1, dtype=np.int64)
        active = np.zeros(self._tracks, dtype=np.bool_)
        self._told = {}
        for (a, b), match in sorted(self._matches.items()):
            if not match.told or active[b]:
                continue  # the lowest input that it copies is named
            active[b], partners[b] = True, a
            onset_s[b], last_s[b] = match.onset_s, match.last_s
            self._told[b] = (a, match.residual_db)
        for (a, b), copy in sorted(self._lagged.pairs.items()):
            if copy.lag is not None and not active[b]:
                active[b], partners[b] = True, a
                onset_s[b], last_s[b] = copy.since_s, m.end_s
                self._told[b] = (a, 10.0 * np.log10(max(1.0 - min(copy.r, 1.0) ** 2, 1e-6)))
        return condition(active, m.any_valid & self._watched, onset_s, last_s, partners=partners)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        if track_index not in self._told:
            return ""
        source_index, residual_db = self._told[track_index]
        source = f"input {self._inputs[source_index]}"
        if residual_db <= -59.9:
            return f"the same samples as {source}"
        return f"the same signal as {source}, {-residual_db:.0f} dB down to what differs"
