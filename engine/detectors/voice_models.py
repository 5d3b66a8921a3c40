"""Whose voice a pack carries: second-order statistics of its own short spectra, learned and held
against those of the others.

Model: voice, place on the body and pack together shape the short spectra of what a pack hears of
its own wearer. Their mean and covariance tell one from another within seconds of speech (F. Bimbot,
I. Magrin-Chagnolleau, L. Mathan, "Second-order statistical measures for text-independent speaker
identification", Speech Communication 17, 177-192, 1995). The log likelihood ratio of another's
model over the pack's own is summed by Page's CUSUM (E. S. Page, Biometrika 41, 100-115, 1954): in
health it drifts to zero, after a swap it rises with each word.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.own_speech import CEPSTRA, FRAMES, OwnSpeech, OwnSpeechFinder
from engine.detectors.pack_matches import TickSums
from engine.measure.tick_block import TickBlock
from engine.model.messages import Levels
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By

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
        before_db = self.level_db if self.count else level_db
        keep = min(1.0, (KEPT_FRAMES - len(frames)) / max(self.count, 1.0))
        self.count = keep * self.count + len(frames)
        self.total = keep * self.total + frames.sum(axis=0)
        self.square = keep * self.square + frames.T @ frames
        self.fresh += len(frames)
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
        self._finder = OwnSpeechFinder(
            packs,
            sample_rate_hz,
            louder=louder,
            alike=alike,
            mates={} if mates is None else mates,
            witnesses=packs if witnesses is None else witnesses,
            rivals={} if rivals is None else rivals,
        )
        self._clip, self._least_frames = clip, learn_s / 0.1 * FRAMES
        self._fits, self._doubt, self._most = fits, doubt, most
        self.reset()

    def foresee(self, block: TickBlock, sums: TickSums) -> list[OwnSpeech | None]:
        """Whose own voice is heard in each of those ticks, if one's is."""
        return self._finder.find(block, sums)

    def update(self, spoken: OwnSpeech, start_s: float) -> None:
        """Take in one tick in which somebody speaks into their own pack."""
        own = self._voices.get(spoken.track_index)
        if own is None:
            own = self._voices[spoken.track_index] = _voice()
        itself = self._score(own, spoken, start_s)
        others = [o for (at, _), o in self.others.items() if at == spoken.track_index]
        if all(other.score < self._doubt for other in others):
            own.add(spoken.cepstra, spoken.level_db, self._least_frames)
        if itself:
            for (_, voice_index), other in self.others.items():
                other.against += voice_index == spoken.track_index

    def louder_db(self, track_index: int, voice_index: int) -> Levels:
        """How much louder that voice is heard on the track than it was on its own pack, and on its
        wearer's second pack than on that of the other, dB."""
        other = self.others[track_index, voice_index]
        return other.level_db - self._voices[voice_index].level_db

    def _score(self, own: _Voice, spoken: OwnSpeech, start_s: float) -> bool:
        """Hold it against all models; whether it is the pack's own voice and no other's."""
        if own.mean is None:
            return False
        track_index, fits = spoken.track_index, self._fits * CEPSTRA
        learned = {n: voice for n, voice in self._voices.items() if voice.mean is not None}
        distances = dict(zip(learned, _distances(spoken.cepstra, learned.values()), strict=True))
        own_distance = distances.pop(track_index)
        itself = own_distance <= fits
        likely = -0.5 * (own_distance + own.log_det)
        for other_index, distance in distances.items():
            other = self.others.get((track_index, other_index))
            if other is None:
                other = self.others[track_index, other_index] = Other()
            ratio = -0.5 * (distance + learned[other_index].log_det) - likely
            # What fits neither is neither: somebody shouts, or turns away.
            ratio = min(max(ratio, -self._clip), self._clip if distance <= fits else 0.0)
            if other.score <= 0.0:
                other.since_s, other.against, other.ticks, other.mated = start_s, 0, 0, 0
            if ratio > 0.0:
                other.ticks += 1
                other.mated += spoken.mated
                other.level_db += (spoken.level_db - other.level_db) / other.ticks
            itself &= ratio < 0.0
            other.score = min(max(other.score + ratio, 0.0), self._most)
        return itself


def _distances(frames: Levels, voices: Iterable[_Voice]) -> list[float]:
    """Mean squared Mahalanobis distance of those frames from each; `CEPSTRA` of what was learned.

    All of `voices` have a model.
    """
    means, inverses = zip(*((voice.mean, voice.inverse) for voice in voices), strict=True)
    off = frames - np.array(means)[:, np.newaxis]
    squares = (off @ np.array(inverses)) * off
    distances: list[float] = (squares.reshape(len(off), -1).sum(axis=1) / len(frames)).tolist()
    return distances
