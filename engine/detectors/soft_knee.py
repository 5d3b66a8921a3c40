"""An overload with a soft knee: no flat top, but the peaks of a main lack what its safety's have.

Model: main and safety hear one voice, so in each hop both have about the same crest factor, the
peak over the RMS. A stage that saturates takes it from the pack with the higher gain, where it is
loudest and only there, at a ceiling that stays where it is; a limiter, which turns the gain, leaves
it. Two packs hear the crest of a horn otherwise than that of the voice, though: so a tick counts
only where the main is bent (`_bend`). The difference, less what it usually is where the voice is
fainter, is summed by Page's CUSUM (E. S. Page, Biometrika 41, 100-115, 1954): in health it drifts
to zero.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.pack_matches import voice_correlation
from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, per_track
from engine.model.tracks import Scene
from engine.model.units import power_db

LEAST_PEAK: Final = 0.05
"""Full scale 1.0; under -26 dBFS no stage before the converter saturates (ours)."""
LOUD: Final = 0.7
"""Share of the highest peak lately from which a hop may be saturated."""
FAINT: Final = (0.2, 0.5)
"""The same of hops that are not."""
ALIKE: Final = 0.85
"""Least correlation of the two packs: wind or a blow on one of them is not the voice. Where a main
saturates they keep it (ours, measured)."""
LACK_DB: Final = 1.5
"""About half of what a stage driven 12 dB over its knee takes from the crest (ours, measured on the
hyperbolic tangent); the crests of two packs differ by 1.2 dB (standard deviation, ours)."""
MOST_DB: Final = 4.0
"""One hop speaks for or against no more than this."""
PROOF_DB: Final = 16.0
"""Four hops that speak for it as loudly as any can. In health 3 dB was the most in twenty minutes
of pairs, with wind on the main 8 (ours)."""
TAPS: Final = 4
"""What the bodies and the clothes do to the sound lies within so many samples at 2 kHz, 2 ms, to
each side."""
BENT: Final = -3.0
"""Student's t: in health one tick in 700 is as bent (normal distribution)."""
PRIOR_HOPS: Final = 30.0
KEPT_HOPS: Final = 3000.0
LASTS: Final = 10.0 ** (-6.0 / 20.0 / 300.0)
"""Of the highest peak so much is left a tick later: 6 dB less in 30 s, for a gain may be turned."""


class Loudness(NamedTuple):
    """Hops of one tick in which mains are `loud`, and in which they are `faint`: (hops, pairs)."""

    loud: Flags
    faint: Flags


class SoftKnee(TrackMemory):
    """Adds up the crest that mains lack beside their safeties.

    lack_db : what the newest loud hops lack, a running mean, shape (tracks,)
    since_s : when the sum began to rise, s, shape (tracks,)
    """

    lack_db: Levels = per_track(0.0)
    since_s: Levels = per_track(np.nan)
    _proof_db: Levels = per_track(0.0)
    _highest: Levels = per_track(0.0)
    _usual_db: Levels = per_track(0.0)
    _usual_hops: Levels = per_track(PRIOR_HOPS)

    def __init__(self, scene: Scene) -> None:
        """Start with nothing heard."""
        self._tracks = len(scene.tracks)
        pairs = np.array(scene.pairs(), dtype=np.int64).reshape(-1, 2)
        self._mains, self._safeties = pairs[:, 0], pairs[:, 1]
        self.reset()

    def foresee(self, block: TickBlock) -> list[Loudness | None]:
        """Of each tick which hops of each pair are loud and which faint; None without any pair."""
        mains, safeties = self._mains, self._safeties
        if not len(mains):
            return [None] * len(block.ticks)
        peak = block.field("peak")[:, :, mains]
        highest = peak.max(axis=1, keepdims=True)
        before = self._highest[mains]
        for tick in highest:
            before = tick[0] = np.maximum(tick[0], LASTS * before)
        speech, valid = block.field("speech"), block.field("valid")
        spoken = speech[:, :, mains] & speech[:, :, safeties] & (peak >= LEAST_PEAK)
        spoken &= valid[:, :, mains] & valid[:, :, safeties]
        loud = spoken & (peak >= LOUD * highest)
        faint = spoken & (peak >= FAINT[0] * highest) & (peak <= FAINT[1] * highest)
        return [Loudness(*part) for part in zip(loud, faint, strict=True)]

    def update(self, m: Measurement, ahead: Loudness | None) -> Flags | None:
        """Take in one tick with what was made of it; on which tracks it holds proof, shape
        (tracks,), None for nowhere."""
        mains, safeties = self._mains, self._safeties
        if ahead is None:
            return None
        self._highest = np.maximum(m.peak.max(axis=0), LASTS * self._highest)
        loud, faint = ahead
        some_loud = any_of(loud)
        if not some_loud and not any_of(faint):
            return None
        proven = np.zeros(self._tracks, dtype=np.bool_)
        lack_db = _crest_db(m, safeties) - _crest_db(m, mains)
        if some_loud:
            rows = indices(loud.any(axis=0))
            r = voice_correlation(m.decimated[mains[rows]], m.decimated[safeties[rows]])
            for row in rows[r >= ALIKE]:
                self._sum(int(mains[row]), int(safeties[row]), lack_db[loud[:, row], row], m)
            proven[mains] = (self._proof_db[mains] >= PROOF_DB) & loud.any(axis=0)
        self._learn(mains, lack_db, faint)
        return proven

    def _sum(self, main: int, safety: int, lack_db: Levels, m: Measurement) -> None:
        """Page's CUSUM over the loud hops of one tick."""
        # Cloth that rubbed on the main gave it more crest than usual, and is no lack later on.
        off_db = lack_db - max(float(self._usual_db[main]), 0.0)
        lacks = off_db.sum() > LACK_DB * len(off_db)
        if lacks and _bend(m.decimated[main], m.decimated[safety]) > BENT:
            return
        for step_db in np.clip(off_db - LACK_DB, -MOST_DB, MOST_DB).tolist():
            if self._proof_db[main] <= 0.0:
                self.since_s[main] = m.start_s
            self._proof_db[main] = min(max(self._proof_db[main] + step_db, 0.0), 2.0 * PROOF_DB)
        self.lack_db[main] += 0.3 * (off_db.mean() - self.lack_db[main])

    def _learn(self, mains: NDArray[np.int64], lack_db: Levels, faint: Flags) -> None:
        """A running mean of the difference where nothing saturates, over a minute of speech."""
        count = np.count_nonzero(faint, axis=0)
        keep = np.minimum(1.0, KEPT_HOPS / (self._usual_hops[mains] + count))
        hops = keep * self._usual_hops[mains]
        total_db = hops * self._usual_db[mains] + (lack_db * faint).sum(axis=0)
        self._usual_hops[mains] = hops + count
        self._usual_db[mains] = total_db / (hops + count)


def _bend(main: Samples, safety: Samples) -> float:
    """How surely the main is bent at its peaks, Student's t, negative where they are lower.

    A linear filter of the safety makes the main; what it leaves is held against the cube of what it
    makes. A gain that moves, or another filter, leaves nothing that follows the cube.
    """
    heard = np.lib.stride_tricks.sliding_window_view(safety.astype(np.float64), 2 * TAPS + 1)
    own = main[TAPS:-TAPS].astype(np.float64)
    products = heard.T @ heard
    products += 1e-6 * (np.trace(products) / len(products) + 1e-12) * np.eye(len(products))
    made = heard @ np.linalg.solve(products, heard.T @ own)
    cube = np.power(made, 3)
    cube -= heard @ np.linalg.solve(products, heard.T @ cube)
    left, energy = own - made, float(cube @ cube)
    slope = float(left @ cube) / (energy + 1e-30)
    left -= slope * cube
    freedom = len(own) - len(products) - 1
    return float(slope * np.sqrt(energy * freedom / (left @ left + 1e-30)))


def _crest_db(m: Measurement, tracks: NDArray[np.int64]) -> Levels:
    """Peak over RMS of each hop, dB, shape (hops, tracks)."""
    return power_db(np.square(m.peak[:, tracks])) - power_db(m.mean_square[:, tracks])
