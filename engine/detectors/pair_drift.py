"""Pair drift: the two packs of one `who` leave their learned gain offset to each other.

Model: both hear one voice from fixed places, so the ratio of their speech energies is fixed by gain
and placement (10 to 15 dB: common practice, no source). One that slipped, is half unplugged or lies
under cloth hears less of it, and cloth takes most from the treble. Only the wearer's own voice
counts, for a neighbour's reaches a pack that slipped as before (`pair_parts`); what heads that turn
and wind do to the ratio is no drift (`pair_change`). The offset is learned from the first speech
that both packs hear, moves with a gain that is turned by hand, and follows at most 1 dB a minute of
speech while there is no fault. Numbers: common practice, no source.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from functools import partial
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.pair_change import (
    BLOCK,
    MOST_DB,
    SIBILANTS,
    leaves,
    newest_of,
    split,
    sure_change_db,
)
from engine.detectors.pair_gains import as_loud, turned_gain_db, with_gains_turned
from engine.detectors.pair_offsets import HISTORY, LearnedOffsets, PairOffsets
from engine.detectors.pair_parts import BANDS, PairParts, Part
from engine.detectors.pairs import PART_S, Pairs, parts_in
from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By, TrackRemap
from engine.model.tracks import Scene

CLEAR: Final = 0.65
"""So much of speech is clearly its wearer's, over what else both packs hear."""
_VOICE_AND_TREBLE: Final = np.arange(BANDS) < SIBILANTS

_per_pair = partial(per_track, count="_pair_count", of="pairs")


class PairDrift(TrackMemory):
    """Compares the levels of the speech of both packs with what was learned."""

    NEEDS_SAMPLES: ClassVar = False

    _limit_db: Levels = _per_pair(0.0, rows=BANDS)
    _offsets: PairOffsets = remembered(
        By.PART,
        lambda d: PairOffsets(
            d._pairs, d._scene, learn_parts=d._learn_parts, follow_db=d._follow_db
        ),
        of="pairs",
    )
    _parts: list[deque[Part]] = remembered(
        By.FIRST, lambda d: [deque(maxlen=d._depth) for _ in range(len(d._pairs))], of="pairs"
    )
    _adding: PairParts = remembered(
        By.PART,
        lambda d: PairParts(d._pairs, voiced=d._voiced, lost_db=d._lost_db, one_voice=d._one_voice),
        of="pairs",
    )
    _change_db: Levels = _per_pair(0.0, rows=BANDS)
    _fell: NDArray[np.int64] = _per_pair(0)
    _drifts: Flags = _per_pair(False)
    _onset_s: Levels = _per_pair(np.nan)
    _last_s: Levels = _per_pair(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        back_db: float = 1.0,
        learn_s: float = 5.0,
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
        self._back_db = back_db
        self._learn_parts = int(learn_s / PART_S)
        self._follow_db = follow_db
        self._voiced = voiced
        self._lost_db = lost_db
        self._one_voice = one_voice
        self._scene, self._pairs = scene, Pairs(scene, Fault.PAIR_DRIFT)
        self._tracks = len(scene.tracks)
        self._asked = np.zeros(self._tracks, dtype=np.bool_)
        self._asked[self._pairs.main] = self._asked[self._pairs.safety] = True
        self._pair_count = len(self._pairs)
        amber_s = scene.numbers("pair_drift_amber_s")[self._pairs.safety]
        self._needed = parts_in(CLEAR * amber_s)
        self._depth = int(self._needed.max(initial=1)) + HISTORY
        self.reset()

    def remaps(self, before: PairDrift, remap: TrackRemap) -> Mapping[str, TrackRemap]:
        """Where each pair was before."""
        return {"pairs": self._pairs.moved(before._pairs, remap)}

    @property
    def learned(self) -> LearnedOffsets:
        """What a restart need not learn anew."""
        return self._offsets.learned

    def learn(self, learned: LearnedOffsets) -> None:
        """Start from what an earlier watch of the same tracks learned, of pairs that still are."""
        self._offsets.learn(learned)

    def teach(self, safety: int, voice_db: float, treble_db: float) -> None:
        """The offset of the pair of that safety's track index, from a line check."""
        self._offsets.teach(safety, voice_db, treble_db)

    def look_ahead(self, block: TickBlock) -> None:
        """Look for speech in those ticks at once."""
        if len(self._pairs):
            self._adding.look_ahead(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while the newest seconds of speech, as many as the limit says, are off."""
        if measurement is None or not len(self._pairs):
            return unknown(self._tracks)
        m = measurement
        if any_of(m.gain_step_db != 0.0):
            self._follow_gain(m.gain_step_db)
        for pair, part in self._adding.update(m, self._offsets.usual_db):
            if self._offsets.is_voice(pair, part):
                self._parts[pair].append(part)
                self._judge(pair, m.end_s)
        return self._condition(m)

    def _follow_gain(self, gain_db: Levels) -> None:
        """A hand turned a gain, floor and voice together: the learned offset moves with it."""
        main, safety = self._pairs.main, self._pairs.safety
        for pair in indices(gain_db[main] != gain_db[safety]).tolist():
            self._turn(pair, gain_db[[main[pair], safety[pair]]])

    def _turn(self, pair: int, gain_db: Levels) -> None:
        """The gains of main and safety were turned: what was said before the turn moves along."""
        usual_db = self._offsets.usual_db[:, pair]
        parts = with_gains_turned(self._parts[pair], usual_db[0], gain_db)
        self._parts[pair] = deque(parts, maxlen=self._depth)
        self._drifts[pair] = False
        usual_db += gain_db[0] - gain_db[1]

    def _condition(self, m: Measurement) -> Condition:
        drifting = any_of(self._drifts)
        if m.all_valid and not drifting:
            return quiet(self._asked)
        main, safety = self._pairs.main, self._pairs.safety
        active, known = np.zeros((2, self._tracks), dtype=np.bool_)
        known[main] = known[safety] = m.any_valid[main] | m.any_valid[safety]
        if not drifting:
            return quiet(known)
        onset_s, last_s = np.full((2, self._tracks), np.nan)
        partners = np.full(self._tracks, -1, dtype=np.int64)
        for pair in indices(self._drifts):
            both = (main[pair], safety[pair])
            at, other = both if self._fell[pair] == 0 else both[::-1]
            active[at], partners[at] = True, other
            onset_s[at], last_s[at] = self._onset_s[pair], self._last_s[pair]
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(active, known, onset_s, last_s, never, partners)

    def _judge(self, pair: int, now_s: float) -> None:
        """Learn the offset, or hold the newest seconds of speech against it."""
        parts = self._parts[pair]
        if np.isnan(self._offsets.usual_db[0, pair]):
            self._offsets.begin(pair, list(parts))
            return
        needed = int(self._needed[pair])
        number = newest_of(parts, needed)
        newest, history = list(parts)[-number:], list(parts)[:-number]
        if len(newest) < number or (self._offsets.young[pair] and len(history) < BLOCK):
            return  # what it does in health is not known yet
        change_db = sure_change_db(newest, parts, self._offsets.usual_db[:, pair])
        if self._drifts[pair]:
            self._goes_on(pair, change_db, now_s)
            return
        bands = self._leaves(pair, newest, history, change_db, sure=number == needed)
        if bands is None:
            return
        if any_of(bands):
            self._last_s[pair] = now_s
            self._begin(pair, newest, history, change_db)
        else:
            self._offsets.follow(pair, history, change_db)

    def _goes_on(self, pair: int, change_db: Levels, now_s: float) -> None:
        """A drift that stands is over when the newest parts are back by the deadband."""
        if any_of(np.abs(change_db) > self._limit_db[:, pair] - self._back_db):
            self._last_s[pair] = now_s
            self._change_db[:, pair] = change_db
            return
        self._drifts[pair] = False
        before = (part for part in self._parts[pair] if part.begin_s < self._onset_s[pair])
        self._parts[pair] = deque(before, maxlen=self._depth)

    def _leaves(
        self, pair: int, newest: list[Part], history: list[Part], change_db: Levels, *, sure: bool
    ) -> Flags | None:
        """In which bands the pair leaves its offset; None where that was learned anew or turned
        along with a gain, or cannot be told yet."""
        offset_db = self._offsets.usual_db[:, pair]
        bands = np.zeros(BANDS, dtype=np.bool_)
        if any_of(np.abs(change_db) > MOST_DB):
            gain_db = turned_gain_db(newest, history, offset_db, change_db)
            if gain_db is not None:
                self._turn(pair, gain_db)
                return None
        # What sibilants say counts where voice and treble say nothing.
        for asked in (_VOICE_AND_TREBLE, ~_VOICE_AND_TREBLE):
            asked_db = np.where(asked, change_db, np.nan)
            if not any_of(np.abs(asked_db) > MOST_DB):
                continue
            if asked[0] and self._depends_on_loudness(pair, newest, history, asked_db):
                return None
            bands, waits = leaves(newest, history, offset_db, asked_db, sure=sure)
            if waits:
                return None
            if any_of(bands):
                self._limit_db[:, pair] = np.where(asked, MOST_DB, np.inf)
                break
        return bands

    def _depends_on_loudness(
        self, pair: int, newest: list[Part], history: list[Part], change_db: Levels
    ) -> bool:
        """Whether a limiter is at work: then the offset is that of speech as loud as the newest."""
        like = as_loud(newest, history, self._offsets.usual_db[:, pair], change_db)
        if like is None:
            return False
        self._offsets.take_over(pair, like or newest)
        self._offsets.young[pair] |= not like
        self._parts[pair] = deque(like + newest, maxlen=self._depth)
        return True

    def _begin(self, pair: int, newest: list[Part], history: list[Part], change_db: Levels) -> None:
        """When it began, and which pack fell."""
        self._drifts[pair], self._change_db[:, pair] = True, change_db
        band = self._furthest_off(pair)
        _, since = split(newest, history, self._offsets.usual_db[:, pair], change_db)
        self._onset_s[pair] = since[0].begin_s
        # The ratio main to safety rises when the safety hears less.
        self._fell[pair] = 1 if change_db[band] > 0 else 0

    def _furthest_off(self, pair: int) -> int:
        """The band that says most clearly what happened."""
        return int(np.nanargmax(np.abs(self._change_db[:, pair]) / self._limit_db[:, pair]))

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        of = (self._pairs.main == track_index) | (self._pairs.safety == track_index)
        pair = int(indices(of)[0])
        band = self._furthest_off(pair)
        change_db = abs(float(self._change_db[band, pair]))
        what, why = ("treble", "muffled") if band else ("voice", "slipped, or half unplugged")
        return f"{what} {change_db:.0f} dB down against the other pack: {why}"
