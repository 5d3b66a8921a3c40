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

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.band_power import BandPower, band_powers
from engine.detectors.base import TickContext, condition, unknown
from engine.detectors.quieter_place import QuieterPlace
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement
from engine.model.number_text import true_minus
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import mean_square_at, rms_dbfs

JUDGED_S: Final = 4.0
"""Judged from here on after the onset, s."""
SETTLE_S: Final = 0.6
"""A pop and a sagging bias may last that long, s."""
_RISE_DB: Final = 0.015
"""The reference rises by at most this each half second: what was once heard stays likely."""
_LEARNT: Final = 16
"""Half seconds heard before a fall means anything."""
_HISTORY: Final = 40
_LATE: Final = 20
_HALF_SECOND: Final = 5
"""In ticks: kept levels; how old a level is before it teaches; what it is averaged over."""
_JUDGED: Final = round((JUDGED_S - SETTLE_S) * 10)
"""Ticks that are judged, of the track and of its neighbours: they may speak, and pause seldom."""
_MOSTLY: Final = 0.7
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
    _band: Levels = per_track(np.nan, rows=_HISTORY)
    _wide: Levels = per_track(np.nan, rows=_HISTORY)
    _low_ring: Flags = per_track(False, rows=_HISTORY)
    _tick: int = remembered(By.WHOLE, 0)
    _learnt: Levels = per_track(0.0)
    _quietest_db: Levels = per_track(np.nan)
    _limit: NDArray[np.float32] = per_track(0.0, dtype=np.float32)
    """Mean square in the band under which a hop is low; none is, while nothing is learned."""
    _noise: NDArray[np.float32] = per_track(np.inf, dtype=np.float32)
    """The same of a dead track: what is left of it and so much, however high its place was."""
    _low_since_s: Levels = per_track(np.inf)
    _run: Flags = per_track(False)
    _dead: Flags = per_track(False)
    _together: Flags = per_track(False)
    _share: Levels = per_track(0.0)
    _lately: Levels = per_track(0.0)
    """Share of the last time that lay under the limit, and was no fault."""
    _place: QuieterPlace = remembered(By.PART, lambda d: QuieterPlace(d._open, d._fall_db))
    _onset_s: Levels = per_track(np.nan)
    _low_s: Levels = per_track(np.nan)

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
            s. Over when nothing under the limit was seen that long: speech has gaps.
        """
        self._fall_db = fall_db
        self._steady_db = steady_db
        self._given_up_s = given_up_s
        self._back_s = back_s
        self._watched = scene.watched(Fault.DEAD_MIC)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._tracks = len(scene.tracks)
        self._ahead = Ahead(lambda block: band_powers(block, self._last))
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
        self._set_limit()

    def _set_limit(self) -> None:
        known = (self._learnt >= _LEARNT) & ~np.isnan(self._quietest_db)
        level_db = np.where(known, self._quietest_db - self._fall_db, -np.inf)
        self._limit = mean_square_at(level_db).astype(np.float32)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where the sound fell under all that was live and stayed there, steady."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        known = ahead.known
        low = self._take_in(m, ahead)
        if any_of(m.source_stopped) or any_of(m.gain_step_db != 0.0):
            low &= ~self._moved(m)
        if any_of(low) or any_of(self._run):
            self._follow(m, low, known)
            self._judge(m)
        if any_of(low) or self._lately.any():
            self._learn_pauses(m, low, known)
        if self._tick % _HALF_SECOND == 0:
            self._teach(m.end_s)
        self._tick += 1
        known &= self._watched
        return condition(self._dead & known, known, self._onset_s, self._low_s)

    def _learn_pauses(self, m: Measurement, low: Flags, known: Flags) -> None:
        """Where the track lay as low for long enough by now, and has come back: it is a place."""
        self._lately += (m.end_s - m.start_s) / _LATELY_S * known * (low - self._lately)
        self._lately[self._dead | (self._lately < _FORGOTTEN)] = 0.0
        for track_index in indices((self._lately >= _OFTEN) & ~low & ~self._run).tolist():
            self._give_up(track_index, m.end_s)
            self._lately[track_index] = 0.0

    def _moved(self, m: Measurement) -> Flags:
        """Where the sound is another one for a reason that is no fault of the track: its quietest
        level follows or is learned anew, and nothing has fallen."""
        stopped = m.source_stopped
        for track_index in indices(stopped & ~np.isnan(self._quietest_db)):
            newest_db = float(rms_dbfs(self._band[self._tick % _HISTORY, track_index]))
            self._place.fell(track_index, self._quietest_db[track_index] - newest_db, m.end_s)
        self._quietest_db = np.where(stopped, np.nan, self._quietest_db + m.gain_step_db)
        self._learnt = np.where(stopped, 0.0, self._learnt)
        self._band[:, stopped] = np.nan
        self._set_limit()
        moved = m.source_stopped | (m.gain_step_db != 0.0)
        self._end(moved)
        return np.asarray(moved)

    def _take_in(self, m: Measurement, ahead: BandPower) -> Flags:
        """Levels of this tick into the history; returns where it lies under the limit."""
        self._last = ahead.last
        at = self._tick % _HISTORY
        self._wide[at], self._band[at] = ahead.wide_mean, ahead.band_mean
        low = np.zeros(self._tracks, dtype=np.bool_)
        limit = np.minimum(self._limit, self._noise)
        if any_of(ahead.least < limit):
            under = (ahead.power < limit) & m.valid
            if any_of(under):
                low = (np.count_nonzero(under, axis=0) >= _MOSTLY * ahead.counted) & ahead.heard
                self._mark(m, under, low)
            else:
                self._low_since_s[:] = np.inf
        else:
            self._low_since_s[:] = np.inf
        self._low_ring[at] = low
        return np.asarray(low)

    def _mark(self, m: Measurement, under: Flags, low: Flags) -> None:
        """Since when every hop has been under the limit, and when the last one was."""
        hops = len(under)
        over = ~under & m.valid
        since = m.start_s + m.hop_s * (hops - np.argmax(over[::-1], axis=0))
        lasting = np.minimum(self._low_since_s, m.start_s)
        self._low_since_s = np.where(over.any(axis=0), since, lasting)
        self._low_since_s = np.where(under.any(axis=0), self._low_since_s, np.inf)
        until = m.start_s + m.hop_s * (hops - np.argmax(under[::-1], axis=0))
        # In the tick in which the place comes back as much counts as is under it yet.
        ahead = ~low & (m.start_s - self._low_s < 3.5 * m.hop_s)
        # Most are under it before, and most over it after; noise has its peaks.
        gained = np.cumsum(2 * under - 1, axis=0)
        split = np.where(gained.max(axis=0) >= 0, hops - np.argmax(gained[::-1], axis=0), 0)
        until = np.where(ahead, m.start_s + m.hop_s * split, until)
        self._low_s = np.where(low | ahead, until, self._low_s)

    def _follow(self, m: Measurement, low: Flags, known: Flags) -> None:
        """Begin, hold and end the runs of low ticks."""
        begins = low & ~self._run
        early = np.minimum(self._low_since_s, m.end_s)
        self._onset_s = np.where(begins, np.maximum(early, m.start_s - 0.1), self._onset_s)
        self._run |= begins
        self._together &= ~begins
        self._share = np.where(begins, 1.0, self._share + known * (low - self._share) / 10.0)
        over = np.where(self._dead, m.end_s - self._low_s > self._back_s, self._share < _MOSTLY)
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
        for track_index in indices(due):
            fall_db = self._quietest_db[track_index] - self._newest_db(int(track_index))
            if self._place.is_quieter(int(track_index), fall_db, self._quietest_db):
                self._give_up(int(track_index), m.end_s)
            elif self._is_steady(int(track_index), m):
                self._dead[track_index] = True
                self._noise[track_index] = self._left(int(track_index))
                if lasted[track_index] > JUDGED_S + SETTLE_S:
                    self._onset_s[track_index] = self._steady_since_s(int(track_index), m)
            elif lasted[track_index] >= self._given_up_s:
                self._give_up(int(track_index), m.end_s)

    def _left(self, track_index: int) -> np.float32:
        """Mean square in the band that lies as far over what is left as that fell at least."""
        rows = self._low_ring[:, track_index]
        noise_db = rms_dbfs(np.nanmedian(self._band[rows, track_index]))
        return np.float32(mean_square_at(noise_db + self._fall_db))

    def _is_steady(self, track_index: int, m: Measurement) -> bool:
        """Whether what is left is electronics, on the newest low ticks after the settling."""
        rows = (self._tick - np.arange(_JUDGED)) % _HISTORY
        rows = rows[self._low_ring[rows, track_index]]
        wide = rms_dbfs(self._wide[rows, track_index])
        if len(rows) < _MOSTLY * _JUDGED or np.isnan(wide).all():
            return False
        low, middle, high = np.nanpercentile(wide, [10, 50, 90])
        self._together[track_index] |= self._shared(track_index)
        limit = self._steady_db / (2.0 if self._together[track_index] else 1.0)
        over_floor = middle > m.floor_dbfs[track_index] + self._fall_db
        return bool(high - low <= limit and not over_floor)

    def _steady_since_s(self, track_index: int, m: Measurement) -> float:
        """When what is left began: a place that was low already is not where the mic died."""
        wide = rms_dbfs(self._wide[(self._tick - np.arange(_HISTORY)) % _HISTORY, track_index])
        off = np.abs(wide - np.nanmedian(wide[:_JUDGED])) > self._steady_db
        off[:_JUDGED] = False
        ticks = int(np.argmax(off)) if any_of(off) else _HISTORY
        return m.end_s - ticks * (m.end_s - m.start_s)

    def _shared(self, track_index: int) -> bool:
        """Whether at least half of the other open tracks are well under their quietest, too."""
        others = self._open & ~np.isnan(self._quietest_db)
        others[track_index] = False
        if np.count_nonzero(others) < 2:
            return False
        rows = (self._tick - np.arange(_JUDGED)) % _HISTORY
        band = rms_dbfs(self._band[rows][:, others])
        with np.errstate(invalid="ignore"):  # a neighbour that is muted says nothing
            fell = np.fmin.reduce(band) < self._quietest_db[others] - self._fall_db / 2.0
        return bool(np.count_nonzero(fell) * 2 >= len(fell))

    def _newest_db(self, track_index: int) -> float:
        """How quiet the newest four seconds were, dB."""
        band = self._band[:, track_index]
        return float(np.nanpercentile(rms_dbfs(band), 10)) if np.isfinite(band).any() else -np.inf

    def _give_up(self, track_index: int, now_s: float) -> None:
        """A live place that became quieter: learn it at once."""
        level_db = self._newest_db(track_index)
        self._place.fell(track_index, self._quietest_db[track_index] - level_db, now_s)
        self._quietest_db[track_index] = level_db
        self._set_limit()
        self._run[track_index] = False

    def _teach(self, now_s: float) -> None:
        """Let the half second of two seconds ago, before any fall could begin, teach."""
        rows = (self._tick - _LATE - np.arange(_HALF_SECOND)) % _HISTORY
        power = self._band[rows].sum(axis=0) / _HALF_SECOND
        teaches = ~np.isnan(power) & ~self._run & ~self._low_ring[rows].any(axis=0)
        level_db = rms_dbfs(power)
        self._place.confirm(teaches & ~(level_db > self._quietest_db + self._fall_db), now_s)
        raised_db = np.where(np.isnan(self._quietest_db), np.inf, self._quietest_db + _RISE_DB)
        lowest_db = np.minimum(level_db, raised_db)
        self._quietest_db = np.where(teaches, lowest_db, self._quietest_db)
        self._learnt += teaches
        self._set_limit()

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        low = self._low_ring[:, track_index]  # the noise, not the voice that ends it
        level = rms_dbfs(np.nanmedian(self._wide[low, track_index]))
        return true_minus(f"only steady noise at {level:.0f} dBFS, below all that was heard before")
