"""Silent: the place itself (room, wind, cloth, breath) is no longer audible on the track.

Model: a live microphone always hears its place, so a level under presence means that this sound no
longer reaches the recorder; how long is normal depends on the kind (CONTRACT.md). Once that was too
long, a word that still gets through does not bring the place back: between its syllables the level
falls under presence again, which on a live track it never does. Where most tracks fell under their
own floors the place itself went quiet, and presence goes down with it: a crowd leaves, a night
falls still.

A track that was dead before the watch began has no place to lose. It is never heard where its
level has not stirred, as steady as electronics and no louder than a floor, while most of its
neighbours were heard for 60 s (CONTRACT.md).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet_ticks, unknown
from engine.measure.presence import loudest_floor_dbfs
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, any_of_each
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement
from engine.model.number_text import true_minus
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_DBFS, IDLE_MEAN_SQUARE, mean_square_at, rms_dbfs, stated

OVER_S: Final = 6.0
"""What the share of the hops under presence is taken over, s."""


_FOLLOW: Final = 0.1
_EVERY: Final = 5
"""Whether a track stirs is looked at on every fifth tick, in all five: one tick alone would see
always the same part of speech that is as regular."""
_TICKS: Final = round(10.0 * OVER_S)


@dataclass(frozen=True, slots=True, eq=False)
class LearnedHeard:
    """Seconds for which each track stirred, and its neighbours were heard, shape (tracks,)."""

    stirred_s: Levels
    neighbours_s: Levels


class _Levels(NamedTuple):
    """What was made of one tick before it is asked of; all but `under` of shape (tracks,).

    off_db : level over the floor; power : mean square, NaN where not all is valid
    under : (hops, tracks) under presence; some_under : there are any
    may_begin : there are so many on a track that it may be lost from here on
    idle : nothing but an idle converter; some_idle : there are any
    faint : level under presence; some_faint : there are any
    known : there is a level; calm : what is said where all are heard
    """

    off_db: Levels
    under: Flags
    some_under: bool
    may_begin: bool
    idle: Flags
    some_idle: bool
    faint: Flags
    some_faint: bool
    power: Levels
    known: Flags
    calm: Condition


class Silent(TrackMemory):
    """Follows how much of the last seconds lies under presence; the onset is the first such hop."""

    NEEDS_SAMPLES: ClassVar = False

    _under: NDArray[np.int64] = per_track(0, rows=_TICKS)
    _valid: NDArray[np.int64] = per_track(0, rows=_TICKS)
    _under_since: NDArray[np.int64] = per_track(0)
    _valid_since: NDArray[np.int64] = per_track(0)
    _heard_ticks: NDArray[np.int64] = per_track(0)
    _off_db: Levels = per_track(np.nan, rows=_TICKS)
    _tick: int = remembered(By.WHOLE, 0)
    _idle_tick: NDArray[np.int64] = per_track(-_TICKS)
    _lost: Flags = per_track(False)
    _onset_s: Levels = per_track(0.0)
    _until_s: Levels = per_track(0.0)
    _unseen: bool = remembered(By.ANEW, True)
    """Of some track nothing was seen yet."""
    _first_s: Levels = per_track(np.nan)
    _mean_dbfs: Levels = per_track(np.nan)
    _powers: Levels = per_track(np.nan, rows=_EVERY)
    _stirred_s: Levels = per_track(0.0)
    _neighbours_s: Levels = per_track(0.0)
    _all_heard: bool = remembered(By.ANEW, False)
    _never: Flags = per_track(False)
    _level_dbfs: Levels = per_track(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        lost_share: float = 0.2,
        back_s: float = 3.0,
        mostly: float = 0.7,
        back_ticks: int = 10,
        first_hops: int = 3,
        usual_db: float = 3.0,
        most_db: float = 20.0,
        witnesses: int = 5,
        never_heard_s: float = 60.0,
        least_stirred_s: float = 1.0,
        stir_db: float = 1.5,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        lost_share : float
            A place is lost while at least this share of the last hops lies under
            presence.
        back_s : float
            s. That long without a hop under presence, and the place is back; as long after an
            idle converter moments under presence are the link that came back.
        mostly : float
            Share of all hops since the onset: with less under presence the place is
            back early.
        back_ticks : int
            Ticks for which a place must be heard to be back once it was too long: a
            cough through a covered mic is not enough.
        first_hops : int
            So many hops under presence in one tick begin it, and hold it once it was
            too long; fewer are chance.
        usual_db : float
            dB. The quietest moment in 6 s lies this far under the floor on any live
            track.
        most_db : float
            dB. A track further under its floor has a fault of its own.
        witnesses : int
            So many open tracks must be heard to tell a quiet place from faults of a
            few.
        never_heard_s : float
            s. Neighbours heard for so long make a track that never stirred `never
            heard` (CONTRACT.md).
        least_stirred_s : float
            s. A track has been heard when it stirred for this long in all.
        stir_db : float
            dB. Steady electronics keeps its 100 ms level this near to its mean; no
            live place does.
        """
        self._lost_share = lost_share
        self._back_s = back_s
        self._mostly = mostly
        self._back_ticks = back_ticks
        self._first_hops = first_hops
        self._usual_db = usual_db
        self._most_db = most_db
        self._witnesses = witnesses
        self._never_heard_s = never_heard_s
        self._least_stirred_s = least_stirred_s
        self._stir_db = stir_db
        self._loudest_dbfs = loudest_floor_dbfs(scene)
        self._watched = scene.watched(Fault.SILENT)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._amber_s = scene.numbers("silent_amber_s")
        self._tracks = len(scene.tracks)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Hold those ticks against presence at once."""
        self._ahead.look(block)

    @property
    def learned(self) -> LearnedHeard:
        """What a restart need not learn anew."""
        return LearnedHeard(self._stirred_s.copy(), self._neighbours_s.copy())

    def learn(self, learned: LearnedHeard) -> None:
        """Start from what an earlier watch of the same tracks heard."""
        self._stirred_s = learned.stirred_s.copy()
        self._neighbours_s = learned.neighbours_s.copy()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where the place is not audible, or the track was never heard."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        if self._unseen:
            self._unseen = False
            self._first_s = np.fmin(self._first_s, m.start_s)
        some_lost = self._follow(m, ahead)
        if not self._all_heard:
            self._powers[self._tick % _EVERY] = ahead.power
            if self._tick % _EVERY == _EVERY - 1:
                self._never = self._never_heard(m)
        never, known = self._never, ahead.known
        some_never = any_of(never)
        # What is told is how quiet it was, not the voice that ends it.
        if ahead.some_faint or some_never:
            self._level_dbfs = np.where(never | ahead.faint, m.level_dbfs, self._level_dbfs)
        self._tick += 1
        if not some_lost and not some_never:
            return ahead.calm
        onset_s = np.where(never, self._first_s, self._onset_s)
        until_s = np.where(never, m.end_s, self._until_s)
        return condition((self._lost | never) & known, known, onset_s, until_s)

    def _foresee(self, block: TickBlock) -> Iterator[_Levels]:
        """What is a plain function of each tick."""
        power, valid, presence_dbfs = map(block.field, ("mean_square", "valid", "presence_dbfs"))
        level_dbfs = block.field("level_dbfs")
        under = (power < mean_square_at(presence_dbfs)[:, np.newaxis]) & valid & self._watched
        number = np.count_nonzero(under, axis=1)
        idle = power.max(axis=1) < IDLE_MEAN_SQUARE
        faint = level_dbfs < presence_dbfs
        known = block.field("any_valid") & ~np.isnan(level_dbfs) & self._watched
        return map(
            _Levels,
            level_dbfs - block.field("floor_dbfs"),
            under,
            any_of_each(number > 0),
            any_of_each(number >= self._first_hops),
            idle,
            any_of_each(idle),
            faint,
            any_of_each(faint),
            np.where(valid.all(axis=1), power.mean(axis=1), np.nan),
            known,
            quiet_ticks(known),
        )

    def _follow(self, m: Measurement, ahead: _Levels) -> bool:
        """Begin, hold and end the times in which the place is not audible; whether any goes on."""
        self._off_db[self._tick % _TICKS] = ahead.off_db
        under, idle = ahead.under, ahead.idle
        if ahead.some_idle:
            self._idle_tick[idle] = self._tick
        if not ahead.may_begin and not any_of(self._lost):
            return False
        self._lost &= ~(m.source_stopped | (m.gain_step_db != 0.0))
        quieter_db = self._quieter_db() if ahead.some_under else 0.0
        if quieter_db > 0.0:
            limit = mean_square_at(m.presence_dbfs - quieter_db)
            under = m.valid & (m.mean_square < limit) & self._watched
        if not any_of(under) and not any_of(self._lost):
            return False
        count = np.count_nonzero(under, axis=0)
        idle_s = (self._tick - self._idle_tick) * (m.end_s - m.start_s)
        came_back = m.present & ~idle & (idle_s <= self._back_s + 1e-6)
        begins = ~self._lost & (count >= self._first_hops) & ~came_back
        if any_of(begins):
            first_s = m.start_s + m.hop_s * under.argmax(axis=0)
            self._onset_s = np.where(begins, first_s, self._onset_s)
            self._lost |= begins
            self._under[:, begins] = 0
            self._valid[:, begins] = 0
            self._under_since[begins] = 0
            self._valid_since[begins] = 0
        if not any_of(self._lost):
            return False
        at = self._tick % _TICKS
        self._under[at] = count
        self._valid[at] = np.count_nonzero(m.valid, axis=0)
        self._under_since += self._under[at]
        self._valid_since += self._valid[at]
        last_s = m.start_s + m.hop_s * (len(under) - under[::-1].argmax(axis=0))
        long = self._until_s - self._onset_s >= self._amber_s
        self._until_s = np.where(
            count >= np.where(long, self._first_hops, 1), last_s, self._until_s
        )
        share = self._under.sum(axis=0) / np.maximum(self._valid.sum(axis=0), 1)
        back = (share < self._lost_share) | (m.end_s - self._until_s > self._back_s)
        heard = (m.present | (quieter_db > 0.0)) & (count < self._first_hops)
        self._heard_ticks = np.where(heard, self._heard_ticks + 1, 0)
        seldom = self._under_since < self._mostly * self._valid_since
        early = heard & (seldom | (self._heard_ticks >= self._back_ticks))
        back = np.where(long, back, early) | came_back
        self._lost &= ~(back & (self._valid[at] > 0))
        return any_of(self._lost)

    def _quieter_db(self) -> float:
        """How much quieter than learned the place is now, as most of the open tracks hear it."""
        off_db = np.fmin.reduce(self._off_db[:, self._open])
        off_db = off_db[off_db > -self._most_db]
        if len(off_db) < self._witnesses:
            return 0.0
        return max(0.0, -float(np.median(off_db)) - self._usual_db)

    def _never_heard(self, m: Measurement) -> Flags:
        """Where nothing stirred since the watch began, though the neighbours were heard."""
        levels_dbfs = rms_dbfs(self._powers)
        level_dbfs = levels_dbfs[-1]
        known = (levels_dbfs > IDLE_DBFS).all(axis=0)
        if not any_of(known):
            return self._never
        mean_dbfs = np.where(np.isnan(self._mean_dbfs), level_dbfs, self._mean_dbfs)
        off_db = level_dbfs - mean_dbfs
        stirs = np.abs(levels_dbfs - mean_dbfs).max(axis=0) > self._stir_db
        stirs = known & (stirs | (level_dbfs > self._loudest_dbfs))
        self._mean_dbfs = np.where(known, mean_dbfs + _FOLLOW * off_db, self._mean_dbfs)
        tick_s = _EVERY * (m.end_s - m.start_s)
        self._stirred_s += stirs * tick_s
        heard = self._stirred_s >= self._least_stirred_s
        self._all_heard = bool((heard | ~self._open).all())
        self._neighbours_s += known * self._neighbours_heard(heard & m.present) * tick_s
        return np.asarray(self._open & ~heard & (self._neighbours_s >= self._never_heard_s))

    def _neighbours_heard(self, heard: Flags) -> Levels:
        """1 where most of the other open tracks are heard, else 0."""
        others = np.count_nonzero(self._open) - self._open
        live = np.count_nonzero(self._open & heard) - (self._open & heard)
        return np.asarray((live * 2 > others) & (others > 0), dtype=np.float64)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        level_dbfs = stated(float(self._level_dbfs[track_index]))
        level = "no level at all" if level_dbfs is None else f"level {level_dbfs:.0f} dBFS"
        if self._stirred_s[track_index] < self._least_stirred_s:
            return true_minus(f"never heard since the watch began, {level}")
        return true_minus(f"nothing above presence, {level}")
