"""Pair drift: the two packs of one `who` leave their learned gain offset to each other.

Model: both hear one voice from fixed places, so the ratio of their speech energies is fixed by gain
and placement (10 to 15 dB: common practice, no source). One that slipped, is half unplugged or lies
under cloth hears less of it, and cloth takes most from the treble. Only the wearer's own voice
counts, for a neighbour's reaches a pack that slipped as before, and only where the two packs are
correlated within a millisecond, for else they hear two things; and what is steady (hum, wind, the
pack's own noise) is no voice and is taken off by its minimum (after R. Martin, as in
`measure.floor`). The offset is the median over parts of the speech: a burst, a knock or an
overload on one pack spoils the parts it falls into and no others. It is learned from the first
speech that both packs hear, moves with a gain that is turned by hand, and follows at most 1 dB a
minute of speech while there is no fault. Numbers: common practice, no source.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, unknown
from engine.detectors.pack_matches import voice_correlation
from engine.detectors.pairs import PART_S, Pairs, PartClock, parts_in
from engine.measure.pair_comparison import gain_offset_db
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By, TrackRemap
from engine.model.tracks import Scene

_STEADY_TICKS: Final = 30
"""What is steady is the least tick of the 3 s before or after: pauses between words fall into
them."""
_LEAST_SHARE: Final = 0.05
"""No part is left with less than this of its energy when what is steady is taken off."""

_BANDS: Final = 2
"""The whole voice, and its treble (energy of the step from sample to sample)."""


@dataclass(frozen=True, slots=True, eq=False)
class LearnedOffsets:
    """What a restart need not learn anew.

    offset_db : main less safety, shape (2, tracks), at the safety's index: of the whole voice and
        of the treble; NaN where unknown
    main : input of the main it is learned against, shape (tracks,); -1 where there is none
    """

    offset_db: Levels
    main: Levels


@dataclass(frozen=True, slots=True, eq=False)
class _Raw:
    """A part before what is steady is known from both sides of it.

    energy, steady : sum over its hops, and what was steady in each before; (bands, main and safety)
    """

    energy: Levels
    steady: Levels
    hops: int
    begin_s: float
    tick: int


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """0.25 s of speech of one pair: main less safety, dB, shape (bands,), and when."""

    offset_db: Levels
    begin_s: float


_per_pair = partial(per_track, count="_pair_count", of="pairs")


class PairDrift(TrackMemory):
    """Adds up the speech of both packs and compares their levels with what was learned."""

    NEEDS_SAMPLES: ClassVar = False

    _offset_db: Levels = _per_pair(np.nan, rows=_BANDS)
    _parts: list[deque[_Part]] = remembered(
        By.FIRST, lambda d: [deque(maxlen=d._depth) for _ in range(len(d._pairs))], of="pairs"
    )
    _energy: Levels = _per_pair(0.0, rows=(_BANDS, 2))
    _hops: NDArray[np.int64] = _per_pair(0)
    _raw: list[deque[_Raw]] = remembered(
        By.FIRST, lambda d: [deque() for _ in range(len(d._pairs))], of="pairs"
    )
    _ticks: Levels = _per_pair(np.inf, rows=(_STEADY_TICKS, _BANDS, 2))
    _tick: int = remembered(By.WHOLE, 0, of="pairs")
    _clock: PartClock = remembered(By.PART, lambda d: PartClock(d._pairs), of="pairs")
    _change_db: Levels = _per_pair(0.0, rows=_BANDS)
    _fell: NDArray[np.int64] = _per_pair(0)
    _drifts: Flags = _per_pair(False)
    _onset_s: Levels = _per_pair(np.nan)
    _last_s: Levels = _per_pair(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        drift_db: float = 4.5,
        muffled_db: float = 8.0,
        turned_share: float = 0.65,
        back_db: float = 1.0,
        learn_s: float = 8.0,
        follow_db: float = PART_S / 60.0,
        voiced: float = 4.0,
        lost_db: float = 22.0,
        one_voice: float = 0.5,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        drift_db : float
            dB. Change of the offset that counts.
        muffled_db : float
            dB. The same for the treble, which turns with the head more.
        turned_share : float
            Least share of the newest parts that lie further off, to one side, than a
            head that turns, rain or a gust moves them: two thirds of each limit. By the
            sign test, 24 of 36 parts lie so once in 30 times where half of them would
            (binomial, arithmetic), and the median must be off as well.
        back_db : float
            dB. Deadband: the fault is over when the change is this much less.
        learn_s : float
            s. Speech that must be heard before an offset is known.
        follow_db : float
            dB. Largest move of a known offset with each part of speech: 1 dB a minute
            of it.
        voiced : float
            A pack hears a voice where its energy is this many times what is steady in
            it (6 dB).
        lost_db : float
            dB. A pack that hears the voice fainter than usual by more than this is
            lost, not adrift.
        one_voice : float
            Least Pearson's r of the two packs' low ends in a tick that counts: in 95 %
            of the ticks of their wearer's speech it is over 0.8 (measured), under wind, cloth
            or a stranger's voice on one of them far less.
        """
        self._drift_db = drift_db
        self._muffled_db = muffled_db
        self._turned_share = turned_share
        self._back_db = back_db
        self._learn_s = learn_s
        self._follow_db = follow_db
        self._voiced = voiced
        self._lost_db = lost_db
        self._one_voice = one_voice
        self._pairs = Pairs(scene, Fault.PAIR_DRIFT)
        self._pack_indices = np.concatenate([self._pairs.main, self._pairs.safety])
        self._tracks = len(scene.tracks)
        self._main_inputs = np.array([scene.tracks[n].input for n in self._pairs.main])
        self._pair_count = len(self._pairs)
        self._needed = parts_in(scene.numbers("pair_drift_amber_s")[self._pairs.safety])
        self._depth = int(max(self._needed.max(initial=1), self._learn_s / PART_S))
        self.reset()

    def remaps(self, before: PairDrift, remap: TrackRemap) -> Mapping[str, TrackRemap]:
        """Where each pair was before."""
        return {"pairs": self._pairs.moved(before._pairs, remap)}

    @property
    def learned(self) -> LearnedOffsets:
        """What a restart need not learn anew."""
        offset_db = np.full((_BANDS, self._tracks), np.nan)
        main = np.full(self._tracks, -1.0)
        offset_db[:, self._pairs.safety] = self._offset_db
        main[self._pairs.safety] = self._main_inputs
        return LearnedOffsets(offset_db, main)

    def learn(self, learned: LearnedOffsets) -> None:
        """Start from what an earlier watch of the same tracks learned, of pairs that still are."""
        same = learned.main[self._pairs.safety] == self._main_inputs
        self._offset_db = np.where(same, learned.offset_db[:, self._pairs.safety], np.nan)

    def teach(self, safety: int, voice_db: float, treble_db: float) -> None:
        """The offset of the pair of that safety's track index, from a line check."""
        self._offset_db[:, self._pairs.safety == safety] = [[voice_db], [treble_db]]

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while the newest seconds of speech, as many as the limit says, are off."""
        if measurement is None or not len(self._pairs):
            return unknown(self._tracks)
        m = measurement
        if m.gain_step_db.any():
            self._follow_gain(m.gain_step_db)
        speech = self._pairs.speech(m, own_only=True)
        asked = np.flatnonzero(speech.any(axis=0))
        if len(asked):
            main, safety = self._pairs.main[asked], self._pairs.safety[asked]
            alike = voice_correlation(m.decimated[main], m.decimated[safety])
            speech[:, asked[alike < self._one_voice]] = False
        self._add(speech, m)
        return self._condition(m)

    def _follow_gain(self, gain_db: Levels) -> None:
        """A hand turned a gain, floor and voice together: the learned offset moves with it."""
        turned_db = gain_db[self._pairs.main] - gain_db[self._pairs.safety]
        for pair in np.flatnonzero(turned_db).tolist():
            before_db = self._offset_db[0, pair]
            after_db = before_db + turned_db[pair]
            for part in list(
                self._parts[pair]
            ):  # what was said before the turn is compared no more
                off_db = part.offset_db[0]
                if not abs(off_db - after_db) < abs(off_db - before_db):
                    self._parts[pair].remove(part)
            self._drifts[pair] = False
        self._offset_db += turned_db

    def _condition(self, m: Measurement) -> Condition:
        main, safety = self._pairs.main, self._pairs.safety
        active, known = np.zeros((2, self._tracks), dtype=np.bool_)
        onset_s, last_s = np.full((2, self._tracks), np.nan)
        partners = np.full(self._tracks, -1, dtype=np.int64)
        known[main] = known[safety] = m.any_valid[main] | m.any_valid[safety]
        for pair in np.flatnonzero(self._drifts):
            both = (main[pair], safety[pair])
            at, other = both if self._fell[pair] == 0 else both[::-1]
            active[at], partners[at] = True, other
            onset_s[at], last_s[at] = self._onset_s[pair], self._last_s[pair]
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(active, known, onset_s, last_s, never, partners)

    def _add(self, speech: Flags, m: Measurement) -> None:
        """Add one tick's speech to the parts that fill; judge those that are full."""
        pairs = len(self._pairs)
        shape = (_BANDS, 2, pairs)
        bands = (m.mean_square, m.difference_energy)
        sums = np.array([np.add.reduce(band, axis=0)[self._pack_indices] for band in bands])
        self._ticks[self._tick % _STEADY_TICKS] = sums.reshape(shape) / len(speech)
        self._tick += 1
        due = [p for p in range(pairs) if self._raw[p] and self._raw[p][0].tick <= self._tick]
        if not due and not speech.any():
            return
        steady = self._ticks.min(axis=0)
        for pair in due:
            if self._close(pair, self._raw[pair].popleft(), steady[:, :, pair]):
                self._judge(pair, m.end_s)
        if not speech.any():
            return
        old = self._clock.drop_old(speech, m)
        self._energy[:, :, old], self._hops[old] = 0.0, 0
        both = np.hstack([speech, speech])
        spoken = [np.add.reduce(band[:, self._pack_indices] * both, axis=0) for band in bands]
        self._energy += np.array(spoken).reshape(shape)
        self._hops += np.add.reduce(speech, axis=0)
        for pair in self._clock.add(speech, m).tolist():
            raw = _Raw(
                self._energy[:, :, pair].copy(),
                steady[:, :, pair].copy(),
                int(self._hops[pair]),
                float(self._clock.begin_s[pair]),
                self._tick + _STEADY_TICKS,
            )
            self._raw[pair].append(raw)
            self._energy[:, :, pair], self._hops[pair] = 0.0, 0

    def _close(self, pair: int, raw: _Raw, steady: Levels) -> bool:
        """Make a part of it, if there was a voice to be heard in it; whether there was.

        steady : what was so in each hop after it, shape (bands, main and safety). What teaches,
        both packs must hear. Later, one that hears nothing tells of a fault only where what the
        other hears would stand out on it.
        """
        steady = raw.hops * np.maximum(raw.steady, steady)
        voice = np.maximum(raw.energy - steady, np.maximum(_LEAST_SHARE * raw.energy, 1e-30))
        voiced = raw.energy[0] > self._voiced * steady[0]
        offset_db = gain_offset_db(voice[:, 0], voice[:, 1])
        usual_db = self._offset_db[0, pair]
        if np.isnan(usual_db):
            enough = bool(voiced.all())
        else:
            usual = 10.0 ** (usual_db / 10.0)
            expected = np.array([voice[0, 1] * usual, voice[0, 0] / usual])
            stands_out = voiced | (expected > self._voiced * steady[0])
            heard = abs(offset_db[0] - usual_db) <= self._lost_db
            enough = bool(voiced.any() and stands_out.all() and heard)
        if enough:
            self._parts[pair].append(_Part(offset_db, raw.begin_s))
        return enough

    def _judge(self, pair: int, now_s: float) -> None:
        """Learn the offset, or hold the newest seconds of speech against it."""
        parts = list(self._parts[pair])
        if np.isnan(self._offset_db[0, pair]):
            if len(parts) * PART_S >= self._learn_s:
                self._offset_db[:, pair] = _offset_db(parts)
            return
        needed = int(self._needed[pair])
        if len(parts) < needed:
            return
        newest = parts[-needed:]
        change_db = _offset_db(newest) - self._offset_db[:, pair]
        most_db = np.array([self._drift_db, self._muffled_db])
        off_limits = np.abs(change_db) > most_db - self._back_db * self._drifts[pair]
        if not self._drifts[pair]:  # pairs wander in health: most of the speech must be off
            parts_db = np.array([part.offset_db for part in newest]) - self._offset_db[:, pair]
            turned = np.sign(change_db) * parts_db > 2.0 / 3.0 * most_db
            off_limits &= turned.mean(axis=0) >= self._turned_share
        off = bool(off_limits.any())
        if off and not self._drifts[pair]:
            self._begin(pair, newest, change_db)
        if off:
            self._last_s[pair] = now_s
            self._change_db[:, pair] = change_db
        else:
            self._offset_db[:, pair] += np.clip(change_db, -self._follow_db, self._follow_db)
        self._drifts[pair] = off

    def _begin(self, pair: int, newest: list[_Part], change_db: Levels) -> None:
        """When it began: where a step fits the parts best; and which pack fell."""
        band = int(np.argmax(np.abs(change_db) / np.array([self._drift_db, self._muffled_db])))
        off_db = np.array([part.offset_db[band] for part in newest]) - self._offset_db[band, pair]
        # The median of all of them has only begun to change, that of the newest is changed.
        newest_db = float(np.median(off_db[-math.ceil(len(off_db) / 4) :]))
        changed_db = max(float(change_db[band]), newest_db, key=abs)
        share = np.clip(off_db / changed_db, 0.0, 1.0)
        # Nearer to the offset before the step, nearer to the changed one after it.
        wrong_before = np.concatenate([[0.0], np.cumsum(share - 0.5)])
        self._onset_s[pair] = newest[int(np.argmin(wrong_before[:-1]))].begin_s
        # The ratio main to safety rises when the safety hears less.
        self._fell[pair] = 1 if change_db[band] > 0 else 0

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        pair = int(
            np.flatnonzero((self._pairs.main == track_index) | (self._pairs.safety == track_index))[
                0
            ]
        )
        voice_db, treble_db = np.abs(self._change_db[:, pair])
        if voice_db > self._drift_db - self._back_db:
            return (
                f"voice {voice_db:.0f} dB down against the other pack: slipped, or half unplugged"
            )
        return f"treble {treble_db:.0f} dB down against the other pack: muffled"


def _offset_db(parts: list[_Part]) -> Levels:
    """Main less safety, dB, of the voice and the treble: the median of those parts."""
    return np.asarray(np.median([part.offset_db for part in parts], axis=0))
