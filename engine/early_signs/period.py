"""Ten seconds of all tracks as a few figures: what the early signs are judged by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.early_signs.known_values import quantile
from engine.early_signs.mains_level import ROWS, MainsLevel, prominence_db
from engine.early_signs.pops import count_pops
from engine.early_signs.second import TICKS, Second
from engine.early_signs.short_events import ShortEvents
from engine.model.early_signs import PERIOD_S
from engine.model.messages import Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import amplitude_db, power_db

LEAST_SPEECH_HOPS: Final = 100
"""A second of speech in ten is enough for a level."""
LEAST_VALID: Final = 0.9
QUIET_SHARE: Final = 0.2
"""Of the quiet moments, one a tick, a fifth may be quieter still: as the alarm of noise has it."""
_SECONDS: Final = round(PERIOD_S)


@dataclass(frozen=True, slots=True, eq=False)
class Period:
    """Figures of ten seconds, shape (tracks,); NaN where they can't be told.

    gaps, bursts, pops : how many
    floor_dbfs : noise floor between words, of the treble (`Second.quiet_treble`)
    hum_db : mains lines over their neighbourhood
    peak_dbfs : highest sample, where there was speech
    pair_db, treble_db : level, and brightness, of each pair's main over its safety in speech
    """

    end_s: float
    gaps: Levels
    bursts: Levels
    pops: Levels
    floor_dbfs: Levels
    hum_db: Levels
    peak_dbfs: Levels
    pair_db: Levels
    treble_db: Levels


class PeriodGatherer(TrackMemory):
    """Fed with ticks, gives a period each ten seconds.

    Parameters
    ----------
    tracks : int
    pairs : (n, 2) int
        Indices of main and safety of each performer with both.
    mics : (tracks,) bool
        Tracks that carry the sound of the place.
    """

    _events: ShortEvents = remembered(By.PART, lambda g: ShortEvents(g._mics))
    _counts: NDArray[np.int64] = per_track(0, rows=3)
    _peak: Levels = per_track(0.0)
    _speech_hops: Levels = per_track(0.0)
    _sums: Levels = per_track(0.0, rows=2)
    _pair_hops: Levels = per_track(0.0)
    _lines: NDArray[np.complex128] = per_track(0.0, rows=(_SECONDS, ROWS), dtype=np.complex128)
    _beside: Levels = per_track(np.inf, rows=(_SECONDS, ROWS))
    _treble: Levels = per_track(np.nan, rows=_SECONDS * TICKS)
    _valid: Levels = per_track(0.0)
    _seconds: int = remembered(By.WHOLE, 0)

    def __init__(self, pairs: NDArray[np.int64], mics: Flags) -> None:
        self._tracks, self._mics = len(mics), mics
        self._pairs = pairs.reshape(-1, 2)
        self._newest: list[Measurement] = []
        self._mains: MainsLevel | None = None
        self.reset()

    def add(self, m: Measurement) -> Period | None:
        """Take in one tick."""
        self._newest.append(m)
        if len(self._newest) < TICKS:
            return None
        second = Second.of(self._newest)
        self._newest.clear()
        self._count(second)
        self._seconds += 1
        if self._seconds * (m.end_s - second.ticks[0].start_s) < PERIOD_S - 1e-6:
            return None
        period = self._close(m)
        self._begin()
        return period

    def _count(self, second: Second) -> None:
        gaps, bursts = self._events.count(second)
        self._counts += np.stack([gaps, bursts, count_pops(second.ticks).sum(axis=0)])
        peak = np.maximum.reduce([m.peak.max(axis=0) for m in second.ticks])
        self._peak = np.maximum(self._peak, peak)
        self._speech_hops += second.speech.sum(axis=(0, 1))
        self._valid += second.valid.mean(axis=(0, 1))
        row = self._seconds % _SECONDS * TICKS
        self._treble[row : row + TICKS] = second.quiet_treble()
        self._add_pairs(second)
        self._add_mains(second)

    def _begin(self) -> None:
        for total in (self._counts, self._peak, self._speech_hops, self._sums, self._pair_hops):
            total[...] = 0
        self._valid[:] = 0.0
        self._beside[:] = np.inf
        self._treble[:] = np.nan
        self._seconds = 0

    def _add_pairs(self, second: Second) -> None:
        """Sums over hops in which both packs of a pair hear speech."""
        if not len(self._pairs):
            return
        main, safety = self._pairs.T
        both = second.speech[..., main] & second.speech[..., safety]
        for track in (main, safety):
            powers = np.stack(
                [second.mean_square[..., track], second.difference_energy[..., track]]
            )
            self._sums[:, track] += np.where(both, powers, 0.0).sum(axis=(1, 2))
        self._pair_hops[main] += both.sum(axis=(0, 1))

    def _add_mains(self, second: Second) -> None:
        if not second.valid.all():
            return
        if self._mains is None:
            frames = second.decimated.shape[1]
            rate_hz = frames / (second.ticks[-1].end_s - second.ticks[0].start_s)
            self._mains = MainsLevel(rate_hz, frames)
        row = self._seconds % _SECONDS
        self._lines[row], self._beside[row] = self._mains.measure(second.decimated)

    def _close(self, m: Measurement) -> Period:
        whole = self._valid >= LEAST_VALID * self._seconds
        spoken = whole & (self._speech_hops >= LEAST_SPEECH_HOPS)

        def where(known: NDArray[np.bool_], values: Levels) -> Levels:
            return np.where(known, values, np.nan)

        gaps, bursts, pops = (where(whole, row.astype(np.float64)) for row in self._counts)
        pair_db, treble_db = self._pair_figures(whole)
        return Period(
            m.end_s,
            gaps,
            bursts,
            pops,
            where(whole, power_db(quantile(self._treble, QUIET_SHARE))),
            where(whole, prominence_db(self._lines, self._beside)),
            where(spoken, amplitude_db(self._peak)),
            pair_db,
            treble_db,
        )

    def _pair_figures(self, whole: NDArray[np.bool_]) -> tuple[Levels, Levels]:
        level, treble = np.full(self._tracks, np.nan), np.full(self._tracks, np.nan)
        for main, safety in self._pairs:
            if whole[main] and whole[safety] and self._pair_hops[main] >= LEAST_SPEECH_HOPS:
                powers, steps = power_db(self._sums[:, (main, safety)])
                level[main] = powers[0] - powers[1]
                treble[main] = steps[0] - steps[1] - level[main]
        return level, treble
