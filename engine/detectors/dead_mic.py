"""Dead mic: the link is up, but the place fell away and only steady electronics noise is left.

Model: a live microphone carries its place, whose level is never quite steady, on top of the noise
of its own input; without its power, plug or capsule only that noise stays: below all that the
track carried before, white or nearly so, and so steady that its level over 100 ms moves by a
fraction of a decibel (the spread of the mean of n independent Gaussian powers is 4.34·sqrt(2/n)
dB). Places are loudest in the low end and electronics spread evenly up to 24 kHz, so the fall is
looked for between about 200 and 1000 Hz, where a noise 5 dB under the live floor lies 15 dB under
it. Steadiness alone proves nothing, for air handling is as steady; nor does a level to which the
pauses of what is still heard fell some time ago, as where another pack hangs on that input; nor one
that the other tracks share while they stay alive: then the place went quiet, and whose wearer spoke
meanwhile shows it later than the others. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.band_history import (
    HALF_SECOND,
    JUDGED_S,
    JUDGED_TICKS,
    SETTLE_S,
    BandHistory,
)
from engine.detectors.band_power import MOSTLY, BandPower, band_powers
from engine.detectors.base import TickContext, condition, quiet_ticks, unknown
from engine.detectors.fall_ends import FallEnds
from engine.detectors.quieter_place import QuieterPlace
from engine.measure.floor import MARGIN_DB
from engine.measure.presence import loudest_floor_dbfs
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, any_of_each, count_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement
from engine.model.number_text import true_minus
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By, TrackRemap
from engine.model.tracks import Scene
from engine.model.units import mean_square_at, rms_dbfs

_RISE_DB: Final = 0.015
"""The reference rises by at most this each half second: what was once heard stays likely."""
_LEARNT: Final = 16
"""Half seconds heard before a fall means anything."""
_PAUSES: Final = 4
"""So many of them lie as low as the lowest: whoever talked nearly without a pause so far has shown
little of the place, and has to fall from the floor between the words (ours)."""
SETTLED_TICKS: Final = 10
"""A run that was steady for so long is not given up."""
_LATELY_S: Final = 15.0
_OFTEN: Final = 0.3
"""Share of the last quarter of a minute in which the track lay as low and came back: so quiet is
its place now; one fall is told, or given up, before. A cable that fails as often is told by its
gaps and pops (ours)."""
_FORGOTTEN: Final = 0.003
"""A share this small is none: less than one tick."""


@dataclass(frozen=True, slots=True, eq=False)
class LearnedQuiet:
    """Quietest live level of each track in the band, dB, shape (tracks,); NaN where unknown."""

    quietest_db: Levels


class DeadMic(TrackMemory):
    """Follows falls under the quietest live level and asks whether what is left is steady."""

    NEEDS_SAMPLES: ClassVar = False

    _last: NDArray[np.float32] = per_track(0.0, dtype=np.float32)
    _history: BandHistory = remembered(By.PART, lambda d: BandHistory(d._tracks))
    _calm: bool = remembered(By.ANEW, False)
    """Nothing was low in the last tick, and no run goes on."""
    _pauses: bool = remembered(By.ANEW, True)
    """Some track lay low of late."""
    _skipped: tuple[Measurement, Levels, NDArray[np.float32]] | None = remembered(By.ANEW, None)
    """The last tick if it was calm, its power in the band, and the limit."""
    _learnt: Levels = per_track(0.0)
    _quietest_db: Levels = per_track(np.nan)
    _quiet: Levels = per_track(0.0)
    """Half seconds as low as the quietest."""
    _limit: NDArray[np.float32] = per_track(0.0, dtype=np.float32)
    """Mean square in the band under which a hop is low; none is, while nothing is learned."""
    _noise: NDArray[np.float32] = per_track(np.inf, dtype=np.float32)
    """The same of a dead track: what is left of it and so much, however high its place was."""
    _ends: FallEnds = remembered(By.PART, lambda d: FallEnds(d._tracks))
    _run: Flags = per_track(False)
    _dead: Flags = per_track(False)
    _together: Flags = per_track(False)
    _share: Levels = per_track(0.0)
    _lately: Levels = per_track(0.0)
    """Share of the last time that lay under the limit, and was no fault."""
    _place: QuieterPlace = remembered(By.PART, lambda d: QuieterPlace(d._open, d._fall_db))
    _onset_s: Levels = per_track(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        fall_db: float = 3.0,
        steady_db: float = 1.2,
        given_up_s: float = 8.0,
        back_s: float = 2.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        fall_db : float
            dB. How far under the quietest live half second the noise lies, in the band; and at
            most so far over the learned floor, which may be older than a crowd that came.
        steady_db : float
            dB. Largest spread (10 to 90 %) of the levels over 100 ms; Gaussian noise
            spreads 0.25. Half of it where half of the other tracks fell with it: several mics
            dead, or a quieter place.
        given_up_s : float
            s. Taken for a quieter place when never steady until then.
        back_s : float
            s. Over when nothing under the limit was seen that long: speech has gaps; or when for
            most of it the sound was as loud as all that was live, which no plug half out lets by.
        """
        self._fall_db = fall_db
        self._steady_db = steady_db
        self._given_up_s = given_up_s
        self._back_s = back_s
        self._watched = scene.watched(Fault.DEAD_MIC)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._loudest_dbfs = loudest_floor_dbfs(scene)
        self._tracks = len(scene.tracks)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Measure the band of those ticks at once."""
        self._ahead.look(block)

    @property
    def learned(self) -> LearnedQuiet:
        """What a restart need not learn anew."""
        return LearnedQuiet(self._quietest_db.copy())

    def learn(self, learned: LearnedQuiet) -> None:
        """Start from what an earlier watch of the same tracks learned."""
        self._quietest_db = learned.quietest_db.copy()
        self._learnt = np.where(np.isnan(self._quietest_db), 0.0, _LEARNT)
        self._quiet[:] = _PAUSES
        self._set_limit()

    def carry(self, before: DeadMic, remap: TrackRemap) -> None:
        """Take over what `before` remembers of the tracks that stay."""
        before._settle()
        super().carry(before, remap)

    def _set_limit(self) -> None:
        known = (self._learnt >= _LEARNT) & ~np.isnan(self._quietest_db)
        level_db = np.where(known, self._quietest_db - self._fall_db, -np.inf)
        self._limit = mean_square_at(level_db).astype(np.float32)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where the sound fell under all that was live and stayed there, steady."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        power, moved, nothing = self._ahead.of(m)
        self._last = power.last
        self._history.add(power)
        if self._calm and not moved and not any_of(power.mostly < self._limit):
            self._skipped = m, power.power, self._limit
            if self._pauses:
                self._learn_pauses(m, self._run, power.known)
            self._learn_quiet(m)
            return nothing
        self._settle()
        known = power.known
        low = self._low(m, power)
        if moved:
            low &= ~self._moved(m)
        some_low = any_of(low)
        if some_low or any_of(self._run):
            self._follow(m, low, known)
            self._judge(m)
        if some_low or self._pauses:
            self._learn_pauses(m, low, known)
        self._calm = not (some_low or any_of(self._run))
        self._learn_quiet(m)
        known &= self._watched
        return condition(self._dead & known, known, self._onset_s, self._ends.end_s)

    def _foresee(self, block: TickBlock) -> Iterator[tuple[BandPower, bool, Condition]]:
        """Of each tick the levels, whether a source stopped or a gain was turned, and what is said
        where nothing is dead."""
        powers = list(band_powers(block, self._last))
        stopped, turned = block.field("source_stopped"), block.field("gain_step_db") != 0.0
        nothing = quiet_ticks(np.array([power.known for power in powers]) & self._watched)
        return zip(powers, any_of_each(stopped | turned), nothing, strict=True)

    def _learn_pauses(self, m: Measurement, low: Flags, known: Flags) -> None:
        """Where the track lay as low for long enough by now, and has come back: it is a place."""
        self._lately += (m.end_s - m.start_s) / _LATELY_S * known * (low - self._lately)
        self._lately[self._dead | (self._lately < _FORGOTTEN)] = 0.0
        self._pauses = any_of(self._lately > 0.0)
        for track_index in indices((self._lately >= _OFTEN) & ~low & ~self._run).tolist():
            self._give_up(track_index, m.end_s)
            self._lately[track_index] = 0.0

    def _moved(self, m: Measurement) -> Flags:
        """Where the sound is another one for a reason that is no fault of the track: its quietest
        level follows or is learned anew, and nothing has fallen."""
        stopped = m.source_stopped
        for track_index in indices(stopped & ~np.isnan(self._quietest_db)).tolist():
            fall_db = self._quietest_db[track_index] - self._history.now_db(track_index)
            self._place.fell(track_index, fall_db, m.end_s)
        self._quietest_db = np.where(stopped, np.nan, self._quietest_db + m.gain_step_db)
        self._learnt = np.where(stopped, 0.0, self._learnt)
        self._history.forget(stopped)
        self._set_limit()
        moved = m.source_stopped | (m.gain_step_db != 0.0)
        self._end(moved)
        return np.asarray(moved)

    def _low(self, m: Measurement, power: BandPower) -> Flags:
        """Where the tick lies under the limit."""
        under = (power.power < np.minimum(self._limit, self._noise)) & m.valid
        low = np.asarray(count_of(under, axis=0) >= MOSTLY * power.counted) & power.heard
        self._ends.mark(m, under, low)
        self._history.mark(low)
        return low

    def _settle(self) -> None:
        """A fall may begin in the tick before: mark what was skipped there. No hop of an earlier
        one matters, as most of that tick was over the limit."""
        if self._skipped is not None:
            m, power, limit = self._skipped
            self._skipped = None
            self._ends.mark_begin(m, (power < limit) & m.valid)

    def _follow(self, m: Measurement, low: Flags, known: Flags) -> None:
        """Begin, hold and end the runs of low ticks."""
        begins = low & ~self._run
        early = np.minimum(self._ends.begin_s, m.end_s)
        self._onset_s = np.where(begins, np.maximum(early, m.start_s - 0.1), self._onset_s)
        self._run |= begins
        self._together &= ~begins
        self._share = np.where(begins, 1.0, self._share + known * (low - self._share) / 10.0)
        over = self._share < MOSTLY
        if any_of(self._dead):
            ticks = round(self._back_s / (m.end_s - m.start_s))
            back = self._history.mostly_over(self._limit, ticks)
            back |= m.end_s - self._ends.end_s > self._back_s
            over = np.where(self._dead, back, over)
        self._end(self._run & known & over)

    def _end(self, where: Flags) -> None:
        self._run &= ~where
        self._dead &= ~where
        self._noise[where] = np.inf

    def _judge(self, m: Measurement) -> None:
        lasted = m.end_s - self._onset_s
        due = self._run & ~self._dead & (lasted >= JUDGED_S)
        if not any_of(due):
            return
        for track_index in indices(due).tolist():
            fall_db = self._quietest_db[track_index] - self._history.quiet_db(track_index)
            if self._place.is_quieter(track_index, fall_db, self._quietest_db):
                self._give_up(track_index, m.end_s)
            elif self._is_steady(track_index, m):
                self._dead[track_index] = True
                # As far over what is left as that fell at least.
                noise_db = self._history.left_db(track_index) + self._fall_db
                self._noise[track_index] = mean_square_at(noise_db)
                if lasted[track_index] > JUDGED_S + SETTLE_S:
                    ticks = self._history.steady_ticks(track_index, self._steady_db)
                    self._onset_s[track_index] = m.end_s - ticks * (m.end_s - m.start_s)
            elif lasted[track_index] >= self._given_up_s and not self._settles(track_index, m):
                self._give_up(track_index, m.end_s)

    def _settles(self, track_index: int, m: Measurement) -> bool:
        """Whether what is left has just become steady: phantom power that is gone may sag for
        seconds, and the sound with it."""
        return self._is_steady(track_index, m, SETTLED_TICKS)

    def _is_steady(self, track_index: int, m: Measurement, ticks: int = JUDGED_TICKS) -> bool:
        """Whether what is left is electronics, on the newest low ticks after the settling; it is
        not where a place would be called loud, as in a car that waits."""
        spread_dbfs = self._history.spread_dbfs(track_index, ticks)
        if spread_dbfs is None:
            return False
        low, middle, high = spread_dbfs
        self._together[track_index] |= self._shared(track_index)
        limit = self._steady_db / (2.0 if self._together[track_index] else 1.0)
        floor_dbfs = m.floor_dbfs[track_index]
        over_floor = middle > floor_dbfs + self._fall_db
        if self._quiet[track_index] < _PAUSES:
            over_floor |= not middle <= floor_dbfs - MARGIN_DB
        over_floor |= middle > self._loudest_dbfs[track_index]
        return bool(high - low <= limit and not over_floor)

    def _shared(self, track_index: int) -> bool:
        """Whether at least half of the other open tracks are well under their quietest, too."""
        others = self._open & ~np.isnan(self._quietest_db)
        others[track_index] = False
        if np.count_nonzero(others) < 2:
            return False
        lowest_db = self._history.lowest_db(others)
        with np.errstate(invalid="ignore"):  # a neighbour that is muted says nothing
            fell = lowest_db < self._quietest_db[others] - self._fall_db / 2.0
        return bool(np.count_nonzero(fell) * 2 >= len(fell))

    def _give_up(self, track_index: int, now_s: float) -> None:
        """A live place that became quieter: learn it at once."""
        level_db = self._history.quiet_db(track_index)
        self._place.fell(track_index, self._quietest_db[track_index] - level_db, now_s)
        self._quietest_db[track_index] = level_db
        self._set_limit()
        self._run[track_index] = False

    def _learn_quiet(self, m: Measurement) -> None:
        """Twice a second, let the half second of two seconds ago, before any fall could begin,
        teach."""
        if self._history.tick % HALF_SECOND:
            return
        power, low = self._history.half_second()
        teaches = ~(np.isnan(power) | self._run | low)
        level_db = rms_dbfs(power)
        self._place.confirm(teaches & ~(level_db > self._quietest_db + self._fall_db), m.end_s)
        off_db = level_db - self._quietest_db
        self._quiet[teaches & ~(off_db >= -self._fall_db)] = 0.0
        self._quiet += teaches & ~(off_db > self._fall_db)
        lowest_db = np.fmin(level_db, self._quietest_db + _RISE_DB)
        self._quietest_db = np.where(teaches, lowest_db, self._quietest_db)
        self._learnt += teaches
        self._set_limit()

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        level = self._history.left_dbfs(track_index)  # the noise, not the voice that ends it
        return true_minus(f"only steady noise at {level:.0f} dBFS, below all that was heard before")
