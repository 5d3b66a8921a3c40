"""Whose voice a pack carries: second-order statistics of its own short spectra, learned and held
against those of the others.

Model: voice, place on the body and pack together shape the short spectra of what a pack hears of
its own wearer. Their mean and covariance tell one from another within seconds of speech (F. Bimbot,
I. Magrin-Chagnolleau, L. Mathan, "Second-order statistical measures for text-independent speaker
identification", Speech Communication 17, 177-192, 1995). The log likelihood ratio of another's
model over the pack's own is summed by Page's CUSUM (E. S. Page, Biometrika 41, 100-115, 1954): in
health it drifts to zero, after a swap it rises with each word. Cepstra are those of S. B. Davis and
P. Mermelstein (IEEE Trans. ASSP 28(4), 357-366, 1980), without the first: level says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.pack_matches import voice_correlation
from engine.detectors.pairs import OWN
from engine.model.messages import Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.units import mean_square_at

FRAMES: Final = 4
"""Short spectra a tick: 25 ms each, as is usual for speech."""
BANDS: Final = 24
CEPSTRA: Final = 14
BAND_HZ: Final = (100.0, 7000.0)
KEPT_FRAMES: Final = 2400.0
"""A model forgets what is older than about a minute of its own speech."""
REFRESH_FRAMES: Final = 40
"""So many new frames until a model is worked out anew: one second."""


@dataclass(slots=True, eq=False)
class _Voice:
    """Weighted sums of one pack's own frames, and the Gaussian worked out from them."""

    count: float
    total: Levels
    square: Levels
    fresh: int = 0
    level_db: Levels = field(default_factory=lambda: np.full(2, np.nan))
    mean: Levels | None = None
    inverse: Levels | None = None
    log_det: float = 0.0

    def add(self, frames: Levels, level_db: Levels, least_frames: float) -> None:
        """Learn some frames, shape (frames, CEPSTRA), and how loud they were on both packs."""
        keep = min(1.0, (KEPT_FRAMES - len(frames)) / max(self.count, 1.0))
        self.count = keep * self.count + len(frames)
        self.total = keep * self.total + frames.sum(axis=0)
        self.square = keep * self.square + frames.T @ frames
        self.fresh += len(frames)
        before_db = np.where(np.isnan(self.level_db), level_db, self.level_db)
        self.level_db = before_db + len(frames) / self.count * (level_db - before_db)
        if self.count >= least_frames and (self.mean is None or self.fresh >= REFRESH_FRAMES):
            self.fresh = 0
            self.mean = self.total / self.count
            spread = self.square / self.count - np.outer(self.mean, self.mean)
            # Few frames leave the covariance too narrow: it is drawn towards its diagonal.
            share = min(1.0, 2.0 * CEPSTRA / self.count)
            spread += share * (np.diag(np.diag(spread)) - spread)
            spread += 1e-3 * np.eye(CEPSTRA)
            self.inverse = np.asarray(np.linalg.inv(spread), dtype=np.float64)
            self.log_det = float(np.linalg.slogdet(spread)[1])

    def distance(self, frames: Levels) -> float:
        """Mean squared Mahalanobis distance of those frames; `CEPSTRA` of what was learned."""
        assert self.mean is not None
        assert self.inverse is not None
        off = frames - self.mean
        return float(((off @ self.inverse) * off).sum() / len(frames))


def _voice() -> _Voice:
    return _Voice(0.0, np.zeros(CEPSTRA), np.zeros((CEPSTRA, CEPSTRA)))


@dataclass(slots=True)
class Other:
    """How much speaks for another's voice on a pack: the CUSUM, and since when it rises.

    against : ticks since then in which that other still spoke into a pack of their own
    ticks : ticks since then that spoke for it
    mated : those of them in which the second pack of the pack's wearer heard the same
    level_db : how loud those were, their mean, dB; on the pack and on that second one
    """

    score: float = 0.0
    since_s: float = np.nan
    against: int = 0
    ticks: int = 0
    mated: int = 0
    level_db: Levels = field(default_factory=lambda: np.zeros(2))


class VoiceModels(TrackMemory):
    """Learns who is heard on each pack, and says whose voice is heard there now.

    others : by the track index of a pack and of the pack whose voice it seems to carry
    """

    others: dict[tuple[int, int], Other] = remembered(By.KEYS, lambda _: {})
    _voices: dict[int, _Voice] = remembered(By.KEYS, lambda _: {})

    def __init__(
        self,
        packs: NDArray[np.int64],
        sample_rate_hz: int,
        *,
        louder: float,
        learn_s: float,
        clip: float,
        fits: float,
        doubt: float,
        most: float,
        mates: Mapping[int, int] | None = None,
        witnesses: NDArray[np.int64] | None = None,
        rivals: Mapping[int, NDArray[np.int64]] | None = None,
        alike: float = 0.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        packs : ndarray of int, shape (packs,)
            Track indices of one pack of each performer, the mains.
        sample_rate_hz : int
            Hz.
        louder : float
            The voice is the wearer's where their pack has this many times any other's energy.
        learn_s : float
            s. Own speech that makes a model.
        clip : float
            Natural logarithm. One tick speaks for or against no more than this: a cough is
            nobody's voice.
        fits : float
            Frames speak for another's voice only where their distance from it is no more than this
            many times what was learned from.
        doubt : float
            From this score of any other on, a pack learns no more.
        most : float
            No score is larger, so that it falls soon after the swap was mended.
        mates : mapping of int to int, optional
            The second packs of those wearers that have one: what is heard of their voice reaches
            another pack within a millisecond, on whatever input it hangs; wind does not.
        witnesses : ndarray of int, shape (witnesses,)
            Track indices of all packs, of which one must hear it too.
        rivals : mapping of int to ndarray of int, optional
            By track index, those of all other performers' packs; if not given, the other `packs`.
        alike : float
            Least r of the two.
        """
        self._mates, self._alike = {} if mates is None else mates, alike
        self._witnesses = packs if witnesses is None else witnesses
        self._rivals = {} if rivals is None else rivals
        self._packs, self._louder, self._clip = packs, louder, clip
        self._least_frames = learn_s / 0.1 * FRAMES
        self._fits, self._doubt, self._most = fits, doubt, most
        self._rate_hz = sample_rate_hz
        self._frame = 0
        self.reset()

    def update(self, m: Measurement) -> None:
        """Take in one tick."""
        if len(self._packs) < 2:
            return
        energy = m.mean_square[:, self._packs].sum(axis=0)
        order = np.argsort(energy)
        loudest = int(order[-1])
        track_index = int(self._packs[loudest])
        speaks = energy[loudest] >= self._louder * energy[order[-2]]
        if not speaks or m.speech[:, track_index].mean() < 0.5:
            return
        if not m.valid[:, track_index].all() or m.peak[:, track_index].max() >= 0.98:
            return
        mate = self._mates.get(track_index)
        heard = None if mate is None else self._heard_too(m, track_index)
        if heard is not None and not heard.any():
            return
        mated = heard is not None and bool(heard[self._witnesses == mate].any())
        if not self._is_own(m, track_index):
            return
        frames = self._cepstra(m.samples[:, track_index])
        own = self._voices.setdefault(track_index, _voice())
        both = m.mean_square[:, [track_index, track_index if mate is None else mate]].sum(axis=0)
        level_db = 10.0 * np.log10(both + 1e-20)
        itself = self._score(track_index, own, frames, level_db, mated, m.start_s)
        if all(o.score < self._doubt for (at, _), o in self.others.items() if at == track_index):
            own.add(frames, level_db, self._least_frames)
        for (_, voice_index), other in self.others.items():
            other.against += itself and voice_index == track_index

    def _heard_too(self, m: Measurement, track_index: int) -> Flags:
        """Which other packs hear the same: it is a voice, and no gust, cloth or hand on one of
        them; shape (witnesses,)."""
        witnesses = m.decimated[self._witnesses]
        own = np.broadcast_to(m.decimated[track_index], witnesses.shape)
        alike = voice_correlation(own, witnesses) >= self._alike
        return np.asarray(alike & (self._witnesses != track_index))

    def _is_own(self, m: Measurement, track_index: int) -> bool:
        """It stands clearly farther over the floor than on any other performer's pack, whatever the
        gains: all hear applause alike."""
        energy = m.mean_square.mean(axis=0)
        over = energy / mean_square_at(m.floor_dbfs)
        others = over[self._rivals.get(track_index, self._packs[self._packs != track_index])]
        loudest = others[~np.isnan(others)].max(initial=0.0)
        return not bool(over[track_index] < OWN * loudest)

    def louder_db(self, track_index: int, voice_index: int) -> Levels:
        """How much louder that voice is heard on the track than it was on its own pack, and on its
        wearer's second pack than on that of the other, dB."""
        other = self.others[track_index, voice_index]
        return other.level_db - self._voices[voice_index].level_db

    def _score(
        self,
        track_index: int,
        own: _Voice,
        frames: Levels,
        level_db: Levels,
        mated: bool,
        start_s: float,
    ) -> bool:
        """Hold them against all models; whether they are the pack's own voice and no other's."""
        if own.mean is None:
            return False
        itself = own.distance(frames) <= self._fits * CEPSTRA
        likely = -0.5 * (own.distance(frames) + own.log_det)
        for other_index, voice in self._voices.items():
            if other_index == track_index or voice.mean is None:
                continue
            other = self.others.setdefault((track_index, other_index), Other())
            distance = voice.distance(frames)
            ratio = -0.5 * (distance + voice.log_det) - likely
            # What fits neither is neither: somebody shouts, or turns away.
            most = self._clip if distance <= self._fits * CEPSTRA else 0.0
            ratio = float(np.clip(ratio, -self._clip, most))
            if other.score <= 0.0:
                other.since_s, other.against, other.ticks, other.mated = start_s, 0, 0, 0
            if ratio > 0.0:
                other.ticks += 1
                other.mated += mated
                other.level_db += (level_db - other.level_db) / other.ticks
            itself &= ratio < 0.0
            other.score = float(np.clip(other.score + ratio, 0.0, self._most))
        return bool(itself)

    def _cepstra(self, sound: NDArray[np.float32]) -> Levels:
        """Shape (FRAMES, CEPSTRA)."""
        length = len(sound) // FRAMES
        if self._frame != length:
            self._frame = length
            self._window = np.hanning(length + 2)[1:-1].astype(np.float32)
            self._filters = _filters(length, self._rate_hz)
            n = np.arange(BANDS) + 0.5
            self._cosines = np.cos(np.pi * np.outer(np.arange(1, CEPSTRA + 1), n) / BANDS)
        x = sound[: FRAMES * length].reshape(FRAMES, length) * self._window
        power = np.square(np.abs(np.fft.rfft(x, axis=1)))
        logs = np.log(power @ self._filters.T + 1e-12)
        return np.asarray(logs @ self._cosines.T / np.sqrt(BANDS))


def _filters(length: int, rate_hz: float) -> Levels:
    """Triangles evenly spaced on the mel scale, shape (BANDS, bins)."""
    top_hz = min(BAND_HZ[1], 0.45 * rate_hz)
    mel = np.linspace(_mel(BAND_HZ[0]), _mel(top_hz), BANDS + 2)
    edges = 700.0 * (10.0 ** (mel / 2595.0) - 1.0)
    hz = np.arange(length // 2 + 1) * rate_hz / length
    low, middle, high = edges[:-2, None], edges[1:-1, None], edges[2:, None]
    up, down = (hz - low) / (middle - low), (high - hz) / (high - middle)
    filters = np.clip(np.minimum(up, down), 0.0, None)
    nearest = np.abs(hz[None, :] - middle).argmin(axis=1)
    filters[np.arange(BANDS), nearest] = np.maximum(filters[np.arange(BANDS), nearest], 0.1)
    return np.asarray(filters)


def _mel(hz: float) -> float:
    return float(2595.0 * np.log10(1.0 + hz / 700.0))
