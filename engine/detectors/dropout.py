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

import math
from collections.abc import Iterator
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, stretches, unknown
from engine.detectors.bursts import Burst, Event
from engine.detectors.concealed import Concealment, may_agree
from engine.detectors.gap_shape import EDGE, each_once, gap_shape, is_turned
from engine.detectors.quiet_history import UNDER_DB, QuietHistory
from engine.detectors.replayed import Marks, Replay, marks_of
from engine.measure.floor import MARGIN_DB
from engine.measure.short_levels import HELD_STEPS, STEP_S
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_DBFS

_KEPT_TICKS: Final = 7
"""The longest gap, and its edges."""
_GIVE_UP_TICKS: Final = 100
"""A track that stays that quiet for 10 s has a new, lower background level."""
_JOIN_S: Final = 0.05
"""Fillings less than this apart are one: their ends are known to some tens of milliseconds."""


class _Foreseen(NamedTuple):
    """What was made of one tick before it is asked of.

    lowest_db : (lengths, tracks) as `Measurement.quietest_db`, to be written to
    floor_db : (tracks,) what a gap is under by the place's floor
    near : a gap may end or begin here, unless what was learned moves
    steps_db : (tracks, steps) levels of all steps that are kept, up to the end of this tick
    may_agree, marks : what `concealed` and `replayed` ask
    """

    lowest_db: Levels
    floor_db: Levels
    near: bool
    steps_db: Samples
    may_agree: bool
    marks: Marks | None


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
    _powers: list[Levels] = remembered(By.EACH, lambda _: [])
    _step_powers: list[Samples] = remembered(By.EACH, lambda _: [])
    """Mean squares of the newest hops and of their steps from sample to sample, a tick each."""
    _lately: QuietHistory = remembered(By.PART, lambda d: QuietHistory(d._tracks))
    _low_ticks: NDArray[np.int64] = per_track(0)
    _concealment: Concealment = remembered(By.PART, lambda d: Concealment(d._tracks))
    _replay: Replay = remembered(By.PART, lambda d: Replay(d._tracks))
    _stuck_s: Levels = per_track(-np.inf)
    """Until when what is longer than a gap was played again."""

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
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Make what of those ticks can be made at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active in the tick in which a gap closed; held while the next one of a burst is open."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        self._steps = ahead.steps_db
        self._powers = [*self._powers[1 - _KEPT_TICKS :], m.mean_square.T]
        self._step_powers = [*self._step_powers[1 - _KEPT_TICKS :], m.difference_energy.T]
        self._step_s = m.hop_s / (m.steps_db.shape[1] // len(m.valid))
        lowest_db = ahead.lowest_db
        moved = self._forget(m)
        known = m.any_valid & self._watched
        active = np.zeros(self._tracks, dtype=np.bool_)
        if ahead.near or moved or any_of(self._low_ticks > 0):
            self._add_gaps(active, lowest_db, ahead.floor_db, m)
        self._add_concealed(active, m, ahead)
        self._lately.learn(lowest_db, m.floor_dbfs)
        if not any_of(active):
            return quiet(known)
        onset_s = np.array([burst.onset_s for burst in self._bursts])
        last_s = np.array([burst.last_s for burst in self._bursts])
        red = np.array([burst.is_red(m.end_s) for burst in self._bursts])
        return condition(active, known, onset_s, last_s, red)

    def _foresee(self, block: TickBlock) -> Iterator[_Foreseen]:
        """What is a plain function of the sound, and where no gap can be.

        A gap is under the floor's limit, and under all that was quietest of late: so far under the
        tick before as well, where that taught.
        """
        lowest_db = block.field("quietest_db").astype(np.float64)
        floor_db = self._floor_limit_db(block.field("floor_dbfs"), block.field("presence_dbfs"))
        before = np.concatenate([self._lately.newest[None], lowest_db[:-1]])
        near = self._watched & (lowest_db < floor_db[:, None]) & ~(lowest_db >= before - UNDER_DB)
        all_db, steps_db = self._longer(block)
        may = may_agree(all_db, len(block.ticks), block.ticks[0].steps_db.shape[1])
        marks = marks_of(block.sound, block.field("peak_at").swapaxes(1, 2))
        parts = zip(lowest_db, floor_db, near, steps_db, may, marks, strict=True)
        for lowest, floor, under, *rest in parts:
            yield _Foreseen(lowest, floor, any_of(under), *rest)

    def _longer(self, block: TickBlock) -> tuple[Samples, list[Samples]]:
        """The levels of all steps that are known by the block's end, and of each of its ticks, of
        as many as are kept, up to its end."""
        now_db = [m.steps_db for m in block.ticks]
        new = now_db[0].shape[1]
        before_db = self._steps
        if not before_db.size:
            before_db = np.full((self._tracks, HELD_STEPS[-1]), np.nan, dtype=np.float32)
        m = block.ticks[0]
        keep = round(self._longest_s / (m.hop_s / (new // len(m.valid)))) + 3 * EDGE
        steps_db = np.concatenate([before_db[:, -keep:], *now_db], axis=1)
        first = steps_db.shape[1] - len(now_db) * new
        ends = range(first + new, steps_db.shape[1] + 1, new)
        return steps_db, [steps_db[:, max(end - new - keep, 0) : end] for end in ends]

    def _add_gaps(self, active: Flags, lowest_db: Levels, floor_db: Levels, m: Measurement) -> None:
        """Tracks on which a gap closed in this tick, or the next one of a burst is open; what lies
        in one does not teach."""
        limits_db = self._lately.limits_db(floor_db)
        low = self._watched & (lowest_db < limits_db).any(axis=0)
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
        self._low_ticks = np.where(low, self._low_ticks + 1, 0)

    def _forget(self, m: Measurement) -> bool:
        """Begin anew where what was learned lay beside a source that has stopped; links that fade
        together fall together as well, and theirs are gaps. A gain that was turned moves it.

        Whether anything was moved.
        """
        turned, stopped = any_of(m.gain_step_db != 0.0), any_of(m.source_stopped)
        if turned:
            self._lately.shift(m.gain_step_db)
        for track_index in indices(m.source_stopped).tolist() if stopped else ():
            if not self._bursts[track_index].lately(m.end_s):
                self._lately.forget(track_index)
        return turned or stopped

    def _add_concealed(self, active: Flags, m: Measurement, ahead: _Foreseen) -> None:
        """Tracks on which a link filled a gap with a repeat: an exact one that ended in this tick,
        or one that other links of the rig have changed."""
        newest = round((m.end_s - m.start_s) / self._step_s)
        filled = self._concealment.update(m, self._steps, newest, ahead.may_agree)
        filled += self._replay.update(m, ahead.marks)
        for repeat in m.repeats:
            if repeat.end_s - repeat.begin_s >= self._longest_s:
                self._stuck_s[repeat.track_index] = repeat.end_s
            elif repeat.ended:
                filled.append((repeat.track_index, repeat.begin_s, repeat.end_s))
        for track_index, begin_s, end_s in filled:
            if self._watched[track_index] and begin_s > self._stuck_s[track_index] + _JOIN_S:
                burst, gap = self._bursts[track_index], Event(begin_s, end_s, 0.0)
                (burst.goes_on if begin_s <= burst.last_s + _JOIN_S else burst.add)(gap)
                active[track_index] = True

    def _floor_limit_db(self, floor_dbfs: Levels, presence_dbfs: Levels) -> Levels:
        """What a gap is under, by the place it would lie in, for arrays of any shape."""
        # A floor that is louder than any healthy one is a tone's or an engine's, not the place's.
        floor_db = np.fmin(floor_dbfs, presence_dbfs + MARGIN_DB) - self._under_floor_db
        return np.where(np.isnan(floor_dbfs), presence_dbfs, floor_db)

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
        return [gap for gap in each_once(gaps) if gap.begin_s > last_s], float(open_s)

    def _edge_db(self, track_index: int, m: Measurement) -> float:
        """The least level a gap falls from and rises to."""
        floor_db = float(np.nan_to_num(m.floor_dbfs[track_index], nan=-np.inf, neginf=-np.inf))
        quietest_db = self._lately.longest_db(track_index)
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
        oldest = size - round((m.end_s - m.start_s) / step_s) - EDGE
        gaps: list[Event] = []
        open_s = np.nan
        for begin, end in zip(*stretches(steps_db < limit_db), strict=True):
            length_s = float(end - begin) * step_s
            if end <= oldest or not shortest_s <= length_s < self._longest_s:
                continue
            begin_s = base_s + float(begin) * step_s
            if end > size - EDGE:
                open_s = begin_s
                continue
            edge_db, inside_db, back = gap_shape(steps_db, int(begin), int(end), limit_db)
            depth_db = edge_db - inside_db
            if not (back and depth_db >= self._fall_db and edge_db >= least_db):
                continue
            if not self._is_turned(track_index, begin_s, begin_s + length_s, m):
                gaps.append(Event(begin_s, begin_s + length_s, depth_db))
        return gaps, open_s

    def _is_turned(self, track_index: int, begin_s: float, end_s: float, m: Measurement) -> bool:
        """Whether what lies between is the place still; not told where no whole hop lies inside."""
        powers, step_powers = (
            np.concatenate([tick[track_index] for tick in kept])
            for kept in (self._powers, self._step_powers)
        )
        first = (begin_s - m.end_s) / m.hop_s + len(powers)
        inside = slice(max(math.ceil(first), 0), math.floor(first + (end_s - begin_s) / m.hop_s))
        place_dbfs = float(m.floor_dbfs[track_index]) - self._edge_under_db
        return is_turned(powers[inside], step_powers[inside], place_dbfs)

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
