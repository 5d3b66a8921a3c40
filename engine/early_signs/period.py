"""Ten seconds of all tracks as a few figures: what the early signs are judged by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.early_signs.known_values import quantile
from engine.early_signs.mains_level import MainsLevel
from engine.early_signs.short_events import ShortEvents
from engine.model.early_signs import PERIOD_S
from engine.model.messages import Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import amplitude_db, power_db

LEAST_SPEECH_HOPS: Final = 100
"""A second of speech in ten is enough for a level."""
LEAST_VALID: Final = 0.9
QUIETER_SECONDS: Final = 0.25
"""Hum is judged by the seconds in which the least is said beside it: this quantile of ten. Ours."""


@dataclass(frozen=True, slots=True, eq=False)
class Period:
    """Figures of ten seconds, shape (tracks,); NaN where they can't be told.

    gaps, bursts, pops : how many
    floor_dbfs : learned live floor at the end
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
    """

    _events: ShortEvents = remembered(By.PART, lambda g: ShortEvents(g._tracks, g._pairs))
    _counts: NDArray[np.int64] = per_track(0, rows=3)
    _peak: Levels = per_track(0.0)
    _speech_hops: Levels = per_track(0.0)
    _sums: Levels = per_track(0.0, rows=2)
    _pair_hops: Levels = per_track(0.0)
    _hum_db: Levels = per_track(np.nan, rows=round(PERIOD_S))
    _windows: int = remembered(By.WHOLE, 0)
    _valid: Levels = per_track(0.0)
    _ticks: int = remembered(By.WHOLE, 0)

    def __init__(self, tracks: int, pairs: NDArray[np.int64]) -> None:
        self._tracks = tracks
        self._pairs = pairs.reshape(-1, 2)
        self._second: list[Samples] = []
        self._mains: MainsLevel | None = None
        self.reset()

    def add(self, m: Measurement) -> Period | None:
        """Take in one tick."""
        self._counts += np.stack(self._events.count(m))
        self._peak = np.maximum(self._peak, m.peak.max(axis=0))
        self._speech_hops += m.speech.sum(axis=0)
        self._valid += m.valid.mean(axis=0)
        self._add_pairs(m)
        self._add_mains(m)
        self._ticks += 1
        if self._ticks * (m.end_s - m.start_s) < PERIOD_S - 1e-6:
            return None
        period = self._close(m)
        self._begin()
        return period

    def _begin(self) -> None:
        for total in (self._counts, self._peak, self._speech_hops, self._sums, self._pair_hops):
            total[...] = 0
        self._valid[:] = 0.0
        self._hum_db[:] = np.nan
        self._windows = 0
        self._ticks = 0

    def _add_pairs(self, m: Measurement) -> None:
        """Sums over hops in which both packs of a pair hear speech."""
        if not len(self._pairs):
            return
        main, safety = self._pairs.T
        both = m.speech[:, main] & m.speech[:, safety]
        for track in (main, safety):
            self._sums[0, track] += np.where(both, m.mean_square[:, track], 0.0).sum(axis=0)
            self._sums[1, track] += np.where(both, m.difference_energy[:, track], 0.0).sum(axis=0)
        self._pair_hops[main] += both.sum(axis=0)

    def _add_mains(self, m: Measurement) -> None:
        self._second.append(m.decimated)
        if len(self._second) < 10:
            return
        sound = np.concatenate(self._second, axis=1)
        self._second.clear()
        if len(sound) != self._tracks or not m.all_valid:
            return
        if self._mains is None:
            rate_hz = m.decimated.shape[1] / (m.end_s - m.start_s)
            self._mains = MainsLevel(rate_hz, sound.shape[1])
        self._hum_db[self._windows % len(self._hum_db)] = self._mains.prominence_db(sound)
        self._windows += 1

    def _close(self, m: Measurement) -> Period:
        whole = self._valid >= LEAST_VALID * self._ticks
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
            where(whole, m.floor_dbfs),
            where(whole, quantile(self._hum_db, QUIETER_SECONDS)),
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
