"""Learns from the sound who is heard where: once a second, while somebody speaks alone.

The voice's own pack against every other microphone: that it is the same voice is shown by phase
correlation (`phase_correlation`), how clear it is by the envelope (`envelope_fit`). What carries no
room (comms, code, unused inputs), tracks in fault and the performer's own packs are left out.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Kind, Levels, Measurement, PackLevel
from engine.model.tracks import Scene
from engine.model.units import IDLE_MEAN_SQUARE, mean_square_at, power_db, rms_dbfs
from engine.pickup import speaks_alone
from engine.pickup.envelope_fit import fit
from engine.pickup.phase_correlation import Peaks, PhaseCorrelation
from engine.pickup.pickup_map import PickupMap
from engine.pickup.sighting import Sighting

CHANCE: Final = 1e-4
"""Of taking unrelated sound on one track for a voice, in one second; two must agree."""

WINDOW_TICKS: Final = 10
SAME_DELAY_S: Final = 0.004
"""A track that heard the voice the second before hears it no further off than this: a boom that
moves by a metre a second moves the sound by 3 ms (arithmetic)."""

LEAST_R: Final = 0.3
LEAST_OVER_DB: Final = -20.0
"""A voice this far under a track's own sound adds a hundredth to it: by how much more it lies under
it can't be told."""


class PickupMeter:
    """Fed with every tick; `map` is what it learned.

    Parameters
    ----------
    scene : Scene
    known : PickupMap, optional
        What was learned before, by another plan.
    """

    def __init__(self, scene: Scene, known: PickupMap | None = None) -> None:
        self.map = PickupMap() if known is None else known
        self._tracks = scene.tracks
        self._packs = _packs(scene)
        self._mics = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._window: list[Measurement] = []
        self._correlation: PhaseCorrelation | None = None
        self._before: dict[tuple[str, int], float] = {}

    def update(self, m: Measurement, faulty: Collection[int]) -> None:
        """Take in one tick; `faulty` are the indices of tracks that must not be relied on."""
        if not m.all_valid or not self._packs:
            self._window.clear()
            return
        self._window.append(m)
        if len(self._window) == WINDOW_TICKS:
            window, self._window = self._window, []
            self._look(window, faulty)

    def _look(self, window: list[Measurement], faulty: Collection[int]) -> None:
        """Look at one second: who speaks, and where are they heard."""
        last = window[-1]
        packs = {who: pack for who in self._packs if (pack := self._pack(who, faulty)) is not None}
        speech = np.concatenate([m.speech for m in window])
        power = np.concatenate([m.mean_square for m in window])
        over_db = rms_dbfs(power.mean(axis=0)) - last.floor_dbfs
        who = speaks_alone.loudest(packs, speech, over_db)
        if who is None:
            return
        peaks, least = self._compare(window, packs[who])
        if not speaks_alone.alone(who, packs, speech, peaks, least):
            return
        seen = self._sightings(who, packs[who], power, last, peaks, least, faulty)
        self.map.add(who, last.end_s, seen)

    def _pack(self, who: str, faulty: Collection[int]) -> int | None:
        """Their first healthy pack."""
        return next((pack for pack in self._packs[who] if pack not in faulty), None)

    def _compare(self, window: list[Measurement], reference: int) -> tuple[Peaks, float]:
        sound = np.concatenate([m.decimated for m in window], axis=1)
        if self._correlation is None:
            length_s = window[-1].end_s - window[0].start_s
            rate_hz = sound.shape[1] / length_s
            self._correlation = PhaseCorrelation(rate_hz, sound.shape[1])
        correlation = self._correlation
        peaks = correlation.peaks(correlation.spectra(sound), reference)
        return peaks, correlation.least_peak(CHANCE)

    def _sightings(
        self,
        who: str,
        pack: int,
        power: Levels,
        last: Measurement,
        peaks: Peaks,
        least: float,
        faulty: Collection[int],
    ) -> list[Sighting]:
        floor = mean_square_at(np.nan_to_num(last.floor_dbfs, nan=-120.0))
        fitted = fit(_delayed(power[:, pack], peaks.delay_s, last.hop_s), power, floor)
        fresh: dict[tuple[str, int], float] = {}
        seen = []
        heard = self._mics & (peaks.height >= least) & (fitted.r >= LEAST_R)
        for index in map(int, np.flatnonzero(heard)):
            if index in self._packs[who] or index in faulty:
                continue
            delay_s = float(peaks.delay_s[index])
            fresh[who, index] = delay_s
            known_s = self._before.get((who, index))
            if known_s is None or abs(known_s - delay_s) > SAME_DELAY_S:
                continue
            over_db = max(float(power_db(fitted.over[index])), LEAST_OVER_DB)
            gain_db = float(power_db(fitted.share[index]))
            track = self._tracks[index].input
            seen.append(Sighting(last.end_s, track, over_db, gain_db, delay_s))
        self._before = {**{k: v for k, v in self._before.items() if k[0] != who}, **fresh}
        return seen


def _packs(scene: Scene) -> dict[str, tuple[int, ...]]:
    """Indices of the packs of each performer, the main first."""
    packs: dict[str, tuple[int, ...]] = {}
    order = sorted(enumerate(scene.tracks), key=lambda t: t[1].level is PackLevel.SAFETY)
    for index, track in order:
        if track.who and track.kind is Kind.LAV:
            packs[track.who] = (*packs.get(track.who, ()), index)
    return packs


def _delayed(
    reference: NDArray[np.float64], delay_s: NDArray[np.float64], hop_s: float
) -> NDArray[np.float64]:
    """The reference's power as each track would hear it, shape (hops, tracks), to a hop."""
    hops = np.round(delay_s / hop_s).astype(np.int64)
    at = np.arange(len(reference))[:, None] - hops[None, :]
    outside = (at < 0) | (at >= len(reference))
    shifted = reference[np.clip(at, 0, len(reference) - 1)]
    return np.asarray(np.where(outside, IDLE_MEAN_SQUARE, shifted))
