"""Silent: the place itself (room, wind, cloth, breath) is no longer audible on the track.

Model: a live microphone always hears its place, so a level under presence means that this sound no
longer reaches the recorder; how long is normal depends on the kind (CONTRACT.md). Once that was too
long, a word that still gets through does not bring the place back: between its syllables the level
falls under presence again, which on a live track it never does. Where most tracks fell under their
own floors the place itself went quiet, and presence goes down with it: a crowd leaves, a night
falls still. A track that was dead before the watch began is told here too (see `never_heard`).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet_ticks, unknown
from engine.detectors.never_heard import LearnedHeard, NeverHeard
from engine.measure.floor import MARGIN_DB
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, any_of_each, count_of
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement
from engine.model.number_text import true_minus
from engine.model.percentiles import median
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_MEAN_SQUARE, mean_square_at, stated

OVER_S: Final = 6.0
"""What the share of the hops under presence is taken over, s."""

_TICKS: Final = round(10.0 * OVER_S)


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
    _spoken: NDArray[np.int64] = per_track(0)
    """Hops of speech since it was lost."""
    _place_dbfs: Levels = per_track(np.nan)
    """The place of a mic that hears it from farther away than was learned."""
    _some_farther: bool = remembered(By.WHOLE, False)
    _never_heard: NeverHeard = remembered(By.PART, lambda d: NeverHeard(d._scene))
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
        words_hops: int = 100,
        usual_db: float = 3.0,
        most_db: float = 20.0,
        witnesses: int = 5,
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
        words_hops : int
            A second of speech, 10 dB over the learned floor as ever, is no leak.
        usual_db : float
            dB. The quietest moment in 6 s lies this far under the floor on any live
            track.
        most_db : float
            dB. A track further under its floor has a fault of its own.
        witnesses : int
            So many open tracks must be heard to tell a quiet place from faults of a
            few.
        """
        self._lost_share = lost_share
        self._back_s = back_s
        self._mostly = mostly
        self._back_ticks = back_ticks
        self._first_hops = first_hops
        self._words_hops = words_hops
        self._usual_db = usual_db
        self._most_db = most_db
        self._witnesses = witnesses
        self._watched = scene.watched(Fault.SILENT)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._amber_s = scene.numbers("silent_amber_s")
        self._scene, self._tracks = scene, len(scene.tracks)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Hold those ticks against presence at once."""
        self._ahead.look(block)

    @property
    def learned(self) -> LearnedHeard:
        """What a restart need not learn anew."""
        return self._never_heard.learned

    def learn(self, learned: LearnedHeard) -> None:
        """Start from what an earlier watch of the same tracks heard."""
        self._never_heard.learn(learned)

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
        self._never_heard.update(m, ahead.power, self._tick)
        never, known = self._never_heard.never, ahead.known
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
        number = np.add.reduce(under, axis=1)
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
        moved = m.source_stopped | (m.gain_step_db != 0.0)
        self._lost &= ~moved
        if self._some_farther:
            self._come_back(moved)
        quieter_db = self._quieter_db() if ahead.some_under else 0.0
        if quieter_db > 0.0 or self._some_farther:
            limit_dbfs = np.fmin(m.presence_dbfs - quieter_db, self._place_dbfs - MARGIN_DB)
            under = m.valid & (m.mean_square < mean_square_at(limit_dbfs)) & self._watched
        if not any_of(under) and not any_of(self._lost):
            return False
        count = count_of(under, axis=0)
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
        self._valid[at] = count_of(m.valid, axis=0)
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
        self._hear_words(m)
        return any_of(self._lost)

    def _hear_words(self, m: Measurement) -> None:
        """What is spoken as far over the floor as ever is heard by a live mic, if a farther one:
        what lies between the words is its place from then on."""
        self._spoken = np.where(self._lost, self._spoken + np.count_nonzero(m.speech, axis=0), 0)
        lowest_db = np.fmin.reduce(self._off_db)
        alive = (self._spoken >= self._words_hops) & (lowest_db > -self._most_db)
        if any_of(alive):
            self._place_dbfs = np.where(alive, m.floor_dbfs + lowest_db, self._place_dbfs)
            self._lost &= ~alive
            self._some_farther = True

    def _come_back(self, moved: Flags) -> None:
        """Forget the farther place where its sound is another one, or as near as it was."""
        near = np.fmin.reduce(self._off_db) > -MARGIN_DB + self._usual_db
        self._place_dbfs[moved | near] = np.nan
        self._some_farther = any_of(~np.isnan(self._place_dbfs))

    def _quieter_db(self) -> float:
        """How much quieter than learned the place is now, as most of the open tracks hear it."""
        off_db = np.fmin.reduce(self._off_db)[self._open]
        off_db = off_db[off_db > -self._most_db]
        if len(off_db) < self._witnesses:
            return 0.0
        return max(0.0, -float(median(off_db)) - self._usual_db)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        level_dbfs = stated(float(self._level_dbfs[track_index]))
        level = "no level at all" if level_dbfs is None else f"level {level_dbfs:.0f} dBFS"
        if not self._never_heard.has_stirred(track_index):
            return true_minus(f"never heard since the watch began, {level}")
        return true_minus(f"nothing above presence, {level}")
