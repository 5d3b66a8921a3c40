"""Dropout: gaps of 5 to 500 ms in which the track is quieter than its place ever is (radio).

Model: when the carrier fades, the receiver's squelch mutes within milliseconds, to digital
zero or to its own noise, at least 20 dB under the live floor, and opens as fast. A stop consonant
is a gap of 50 to 100 ms too, but leaves the place to be heard. So a gap is a sharp fall and a
sharp rise, with a level between them that the track did not reach in five minutes: a loud sound
hides how quiet its place can be until it stops. A gap of 500 ms or more is no dropout
(CONTRACT.md). A digital link may fill the gap instead with what came last, again and again (see
`concealed`, `replayed`). Shape of a radio gap: common practice, no source.
"""

from __future__ import annotations

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, stretches, unknown
from engine.detectors.bursts import Burst, Event
from engine.detectors.concealed import Concealment
from engine.detectors.replayed import Replay
from engine.measure.floor import MARGIN_DB
from engine.measure.short_levels import HELD_STEPS, STEP_S
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_DBFS

UNDER_DB: Final = np.array([[10.0], [9.0], [8.0], [7.0]])
"""A gap lies this far under the quietest that held lately, for 2.5, 5, 10 and 20 ms."""

_EDGE: Final = 80
"""Steps before and after a gap in which it falls and rises: 40 ms, as a receiver that ramps a mute
takes at most (common practice, no source)."""
_HISTORY: Final = 100
_LEARN_TICKS: Final = 20
_GIVE_UP_TICKS: Final = 100
"""A track that stays that quiet for 10 s has a new, lower background level."""
_EARLIER: Final = 30
"""Of so many times ten seconds before the last ones the quietest is kept: five minutes."""
_PLACE_DB: Final = 20.0
"""What is further under the floor is a mute's, and says nothing of how quiet the place can be."""
_JOIN_S: Final = 0.05
"""Fillings less than this apart are one: their ends are known to some tens of milliseconds."""
_TEN: Final = 10
"""Ticks of which the quietest is kept, so that of the whole history it is found quickly."""


class Dropout(TrackMemory):
    """Finds gaps at half-millisecond precision; says so once a gap has closed.

    What is quiet at all is learned four times: over 2.5 ms, where a wave's crossing of zero
    already looks quiet, over 5 and 10 ms, where it does in a place of low frequencies alone, and
    over 20 ms, which tells the longer gaps from quiet places better.
    """

    NEEDS_SAMPLES: ClassVar = True

    _bursts: list[Burst] = each_track(Burst)
    _steps: NDArray[np.float32] = remembered(
        By.FIRST, lambda d: np.full((d._tracks, 0), np.nan, dtype=np.float32)
    )
    _step_s: float = remembered(By.WHOLE, STEP_S)
    _quietest: Levels = per_track(np.nan, rows=(_HISTORY, len(UNDER_DB)))
    _tens: Levels = per_track(np.nan, rows=(_HISTORY // _TEN, len(UNDER_DB)))
    _earlier: Levels = per_track(np.nan, rows=(_EARLIER, len(UNDER_DB)))
    _earlier_least: Levels = per_track(np.nan, rows=len(UNDER_DB))
    _known_in_tens: NDArray[np.int64] = per_track(0, rows=(_HISTORY // _TEN, len(UNDER_DB)))
    _low_ticks: NDArray[np.int64] = per_track(0)
    _ticks: int = remembered(By.WHOLE, 0)
    _concealment: Concealment = remembered(By.PART, lambda d: Concealment(d._tracks))

    _replay: Replay = remembered(By.PART, lambda d: Replay(d._tracks))

    def __init__(
        self,
        scene: Scene,
        *,
        shortest_s: float = 0.003,
        longest_s: float = 0.5,
        under_floor_db: float = 10.0,
        fall_db: float = 16.0,
        edge_under_db: float = 3.0,
        edge_under_quietest_db: float = 5.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        shortest_s : float
            s. The quiet middle of a gap of 5 ms: its edges take up to a millisecond
            each.
        longest_s : float
            s. A longer gap is a mute (CONTRACT.md).
        under_floor_db : float
            dB. A gap lies this far under the learned live floor.
        fall_db : float
            dB. It falls and rises by this at its edges; a place no louder than its
            floor has no more to fall.
        edge_under_db : float
            dB. It falls from, and rises to, the place: no further than this under its
            live floor.
        edge_under_quietest_db : float
            dB. The same under the quietest of late, where the place is quieter now (6
            ms of low waves are quieter than 20).
        """
        self._shortest_s = shortest_s
        self._longest_s = longest_s
        self._under_floor_db = under_floor_db
        self._fall_db = fall_db
        self._edge_under_db = edge_under_db
        self._edge_under_quietest_db = edge_under_quietest_db
        self._watched = scene.watched(Fault.DROPOUT)
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active in the tick in which a gap closed; held while the next one of a burst is open."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        lowest_db = self._take_in(m)
        self._forget(m)
        limits_db = self._limits(m)
        low = self._watched & (lowest_db < limits_db).any(axis=0)
        active = np.zeros(self._tracks, dtype=np.bool_)
        for track_index in indices(low | (self._low_ticks > 0)):
            gaps, open_s = self._look(int(track_index), limits_db[:, track_index], m)
            burst = self._bursts[track_index]
            for gap in gaps:
                burst.add(gap)
            active[track_index] = bool(gaps) or burst.belongs(open_s)
            # Under the idle level it is muted: nothing to learn from.
            teaches = (
                self._low_ticks[track_index] >= _GIVE_UP_TICKS
                and lowest_db[0, track_index] > IDLE_DBFS
            )
            if (gaps or not np.isnan(open_s)) and not teaches:
                lowest_db[:, track_index] = np.nan
        active |= self._concealed(m)
        self._low_ticks = np.where(low, self._low_ticks + 1, 0)
        self._learn(lowest_db, m)
        if not any_of(active):
            return quiet(m.any_valid & self._watched)
        onset_s = np.array([burst.onset_s for burst in self._bursts])
        last_s = np.array([burst.last_s for burst in self._bursts])
        red = np.array([burst.is_red(m.end_s) for burst in self._bursts])
        return condition(active, m.any_valid & self._watched, onset_s, last_s, red)

    def _forget(self, m: Measurement) -> None:
        """Begin anew where what was learned lay beside a source that has stopped; links that fade
        together fall together as well, and theirs are gaps. A gain that was turned moves it."""
        if any_of(m.gain_step_db != 0.0):
            for levels_db in (self._quietest, self._tens, self._earlier, self._earlier_least):
                levels_db += m.gain_step_db
        for track_index in indices(m.source_stopped).tolist():
            if not self._bursts[track_index].lately(m.end_s):
                self._quietest[..., track_index] = self._tens[..., track_index] = np.nan
                self._earlier[..., track_index] = self._earlier_least[..., track_index] = np.nan
                self._known_in_tens[..., track_index] = 0

    def _concealed(self, m: Measurement) -> Flags:
        """Tracks on which a link filled a gap with a repeat: an exact one that ended in this tick,
        or one that other links of the rig have changed."""
        some = np.zeros(self._tracks, dtype=np.bool_)
        newest = round((m.end_s - m.start_s) / self._step_s)
        filled = self._concealment.update(m, self._steps, newest)
        filled += self._replay.update(m)
        filled += [
            (repeat.track_index, repeat.begin_s, repeat.end_s)
            for repeat in m.repeats
            if repeat.ended and repeat.end_s - repeat.begin_s < self._longest_s
        ]
        for track_index, begin_s, end_s in filled:
            if self._watched[track_index]:
                burst, gap = self._bursts[track_index], Event(begin_s, end_s, 0.0)
                (burst.goes_on if begin_s <= burst.last_s + _JOIN_S else burst.add)(gap)
                some[track_index] = True
        return some

    def _take_in(self, m: Measurement) -> Levels:
        """Keep the levels of this tick; returns the quietest that held for 2.5, 5, 10 and 20 ms,
        shape (4, tracks)."""
        now_db = m.steps_db
        self._step_s = m.hop_s / (now_db.shape[1] // len(m.valid))
        if not self._steps.size:
            self._steps = np.full((self._tracks, HELD_STEPS[-1]), np.nan, dtype=np.float32)
        keep = round(self._longest_s / self._step_s) + 3 * _EDGE
        self._steps = np.concatenate([self._steps[:, -keep:], now_db], axis=1)
        return np.array(m.quietest_db, float)

    def _learn(self, lowest_db: Levels, m: Measurement) -> None:
        """Keep what was quietest in this tick, and the place's part of each ten seconds."""
        at = self._ticks % _HISTORY
        self._quietest[at] = lowest_db
        ten = at // _TEN
        rows = self._quietest[ten * _TEN : (ten + 1) * _TEN]
        self._tens[ten] = np.fmin.reduce(rows)
        self._known_in_tens[ten] = np.add.reduce(~np.isnan(rows), axis=0, dtype=np.int64)
        self._ticks += 1
        if self._ticks % _HISTORY == 0:
            place_db = np.nan_to_num(m.floor_dbfs, nan=-np.inf) - _PLACE_DB
            row = self._ticks // _HISTORY % _EARLIER
            self._earlier[row] = np.maximum(np.fmin.reduce(self._tens), place_db)
            self._earlier_least = np.fmin.reduce(self._earlier)

    def _limits(self, m: Measurement) -> Levels:
        """The levels that only gaps of such lengths are under, shape (4, tracks).

        -inf before the track was heard for two seconds.
        """
        quietest = np.fmin(np.fmin.reduce(self._tens), self._earlier_least)
        heard = self._known_in_tens.sum(axis=0) >= _LEARN_TICKS
        # A floor that is louder than any healthy one is a tone's or an engine's, not the place's.
        floor_db = np.fmin(m.floor_dbfs, m.presence_dbfs + MARGIN_DB) - self._under_floor_db
        floor_db = np.where(np.isnan(m.floor_dbfs), m.presence_dbfs, floor_db)
        return np.where(heard, np.fmin(quietest - UNDER_DB, floor_db), -np.inf)

    def _look(
        self, track_index: int, limits_db: Levels, m: Measurement
    ) -> tuple[list[Event], float]:
        """Gaps that closed lately, sized by their depth, and since when one is open (NaN)."""
        gaps: list[Event] = []
        open_s = np.nan
        edge_db = self._edge_db(track_index, m)
        lengths_s = (self._shortest_s, *(steps * self._step_s for steps in HELD_STEPS[1:]))
        for limit_db, shortest_s in zip(limits_db, lengths_s, strict=True):
            found, still_s = self._under(track_index, float(limit_db), edge_db, shortest_s, m)
            gaps += found
            open_s = np.fmin(open_s, still_s)
        last_s = self._bursts[track_index].last_s
        return [gap for gap in _each_once(gaps) if gap.begin_s > last_s], float(open_s)

    def _edge_db(self, track_index: int, m: Measurement) -> float:
        """The least level a gap falls from and rises to."""
        floor_db = float(np.nan_to_num(m.floor_dbfs[track_index], nan=-np.inf, neginf=-np.inf))
        quietest_db = float(np.fmin.reduce(self._tens[:, -1, track_index]))
        # Without a floor the place is what was quietest: under it a sound ended, and no hole is.
        quieter = m.presence_dbfs[track_index] <= quietest_db < floor_db or np.isinf(floor_db)
        return (
            quietest_db - self._edge_under_quietest_db
            if quieter
            else floor_db - self._edge_under_db
        )

    def _under(
        self, track_index: int, limit_db: float, least_db: float, shortest_s: float, m: Measurement
    ) -> tuple[list[Event], float]:
        """The same for one limit, looking at what ended in this tick but for its last 40 ms."""
        steps_db, step_s = self._steps[track_index], self._step_s
        size = len(steps_db)
        base_s = m.end_s - size * step_s
        oldest = size - round((m.end_s - m.start_s) / step_s) - _EDGE
        gaps: list[Event] = []
        open_s = np.nan
        for begin, end in zip(*stretches(steps_db < limit_db), strict=True):
            length_s = float(end - begin) * step_s
            if end <= oldest or not shortest_s <= length_s < self._longest_s:
                continue
            begin_s = base_s + float(begin) * step_s
            if end > size - _EDGE:
                open_s = begin_s
                continue
            edge_db, inside_db, back = _shape(steps_db, int(begin), int(end), limit_db)
            depth_db = edge_db - inside_db
            if back and depth_db >= self._fall_db and edge_db >= least_db:
                gaps.append(Event(begin_s, begin_s + length_s, depth_db))
        return gaps, open_s

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        burst = self._bursts[track_index]
        gaps = burst.lately(burst.last_s)
        longest_s = max((gap.end_s - gap.begin_s for gap in gaps), default=0.0)
        depth_db = max((gap.size_db for gap in gaps), default=0.0)
        number = "1 gap" if len(gaps) == 1 else f"{len(gaps)} gaps"
        down = "to nothing" if depth_db > 60.0 else f"{depth_db:.0f} dB down"
        if not depth_db:
            down = "filled with what came before"
        return f"{number} in 10 s, longest {1e3 * longest_s:.0f} ms, {down}"


def _each_once(gaps: list[Event]) -> list[Event]:
    """In order, the longest of those that overlap: under a lower limit a gap is shorter."""
    kept: list[Event] = []
    for gap in sorted(gaps, key=lambda gap: gap.begin_s - gap.end_s):
        if all(gap.end_s <= one.begin_s or one.end_s <= gap.begin_s for one in kept):
            kept.append(gap)
    return sorted(kept, key=lambda gap: gap.begin_s)


def _shape(steps_db: Levels, begin: int, end: int, limit_db: float) -> tuple[float, float, bool]:
    """The level a gap falls from within its edge and rises to again, the lesser; the level inside,
    dB; and whether most of both edges is louder than any gap: else a sound has ended, and not all
    of what came after it was as quiet.

    -inf, 0 and False where the edges are not to be seen.
    """
    before, after = steps_db[max(begin - _EDGE, 0) : begin], steps_db[end : end + _EDGE]
    if begin < _EDGE or len(after) < _EDGE or any_of(np.isnan(before)) or any_of(np.isnan(after)):
        return -np.inf, 0.0, False
    back = min(np.median(before), np.median(after)) >= limit_db
    inside_db = float(np.median(steps_db[begin:end]))
    return float(min(before.max(), after.max())), inside_db, bool(back)
