"""Low: someone talks on the track, but far below a usable level; the gain was never set.

Model: seconds of speech are 10 ms frames at least 10 dB above the track's own live floor, added up
(CONTRACT.md); of the newest 20 of them the AES17 RMS is taken. A neighbour's voice that spills into
a silent performer's mic is no low voice: frames that are more than 10 dB above this performer's
best pack on some other performer's do not count in the RMS (a voice is 14 dB louder at a mic 0.2 m
away than at one 1 m away, by the inverse-distance law; a safety counts as 10 dB louder than it is),
unless that pack hears its own wearer as much louder as a rule: then it is spill there, and the gain
here is low, where it rises further over this floor than over any other. Without at least 4 s of the
performer's own nothing new is said; what rises as far over some other performer's learned floor as
over this one's is none: an aircraft comes to all by as much over the place, whatever their gains;
nor is what stays as loud for seconds, as a compressor beside one of them: words have gaps. Who
turns a gain down by hand means it: the limit goes with the turn. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.performer_levels import PerformerLevels
from engine.detectors.tick_group import Stretch, TickGroup
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement, PackLevel
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_MEAN_SQUARE, SPEECH_DB, mean_square_at, rms_dbfs

SPILL_DB: Final = 10.0
"""A voice so much louder on another performer's pack is theirs, dB; a safety counts as so much
louder than it is."""
MOST_TURNED_DB: Final = 12.0
"""So far the limit follows a gain that was turned down by hand: more is worth a word."""
PART_S: Final = 0.25
"""The newest speech is kept in parts of at least this many seconds of speech."""
_SPILL: Final = 10.0 ** (SPILL_DB / 10.0)
_NEARER: Final = 2.0
"""A performer's voice rises over their own floor by so many times what it does over another's: 3 dB
of the 14 that distance makes."""
_KNOWN_S: Final = 2.0
"""So much of a wearer's own speech says how loud it is there as a rule, to some 2 dB."""

_SECONDS, _KINDS = 0, 5
"""Of what is kept of a part, where its seconds are, and how many numbers."""

_FLOOR_TICKS: Final = 100
_FLOOR_SHARE: Final = 0.1
_EVERY_TICKS: Final = 5
"""A floor that fell lately counts at once: the level that a tenth of the last 10 s stayed under
(one hop of each tick). All is looked at every 0.5 s."""
_GAP_TICKS: Final = 20
_GAP: Final = 10.0 ** (6.0 / 10.0)
"""In so many ticks words have a gap that lies 6 dB under them; what is steady sways by less, lines
of a motor by 5 dB from hop to hop (measured)."""


class Low(TrackMemory):
    """Adds up the speech of every track and compares the newest of it with the limit."""

    NEEDS_SAMPLES: ClassVar = False

    _recent: Levels = remembered(By.FIRST, lambda d: np.full((d._tracks, _FLOOR_TICKS), np.nan))
    _recent_floor_dbfs: Levels = per_track(np.nan)
    _gather: TickGroup = remembered(By.PART, lambda _: TickGroup(_EVERY_TICKS))
    _waiting: list[Stretch] = remembered(By.EACH, lambda _: [])
    _tick: int = remembered(By.WHOLE, 0)
    _heard_ticks: NDArray[np.int64] = per_track(0)
    _parts: Levels = remembered(By.NEWEST, lambda d: d._no_parts())
    """Of each newest part the seconds, their energy, those of the own voice, those that are surely
    so, and the begin; the newest last, the one being filled is apart."""
    _now_s: Levels = per_track(0.0)
    _now_energy: Levels = per_track(0.0)
    _now_own_s: Levels = per_track(0.0)
    _now_near_s: Levels = per_track(0.0)
    _now_begin_s: Levels = per_track(np.nan)
    _turned_db: Levels = per_track(0.0)
    _usual: Levels = per_track(0.0)
    _usual_ticks: Levels = per_track(0.0)
    """What each pack heard of its wearer where it surely was them: energy, and how many ticks."""
    _low: Flags = per_track(False)
    _rms_dbfs: Levels = per_track(np.nan)
    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        least_own_s: float = 4.0,
        deadband_db: float = 4.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        least_own_s : float
            s. Without so much of the performer's own speech nothing new is said.
        deadband_db : float
            dB. Speech must come this far over the limit to end it.
        """
        self._least_own_s = least_own_s
        self._deadband_db = deadband_db
        self._watched = scene.watched(Fault.LOW)
        self._limit_dbfs = scene.numbers("low_dbfs")
        self._tracks = len(scene.tracks)
        # Parts and ticks are coarse: a little before its time, so as not to be late.
        self._needed_s = scene.numbers("low_amber_s") - 2.5 * PART_S
        self._depth = int(np.ceil(self._needed_s.max(initial=PART_S) / PART_S)) + 1
        self._levels = PerformerLevels(scene)
        safety = np.array([t.level is PackLevel.SAFETY for t in scene.tracks])
        self._packs = scene.kinds(Kind.LAV)
        self._weights = np.where(safety, _SPILL, 1.0)
        self.reset()

    def _no_parts(self) -> Levels:
        parts = np.zeros((self._depth, _KINDS, self._tracks))
        parts[:, -1] = np.nan
        return parts

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while the newest seconds of speech, as many as the limit says, are too low."""
        if measurement is None:
            return unknown(self._tracks)
        if any_of(measurement.gain_step_db != 0.0):
            turned_db = self._turned_db + measurement.gain_step_db
            self._turned_db = np.clip(turned_db, -MOST_TURNED_DB, 0.0)
            self._usual *= 10.0 ** (measurement.gain_step_db / 10.0)
        for stretch in self._gather.add(measurement):
            self._take_in(stretch)
        known = measurement.any_valid & self._watched
        if not any_of(self._low):
            return quiet(known)
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(self._low & known, known, self._onset_s, self._last_s, never)

    def _take_in(self, m: Stretch) -> None:
        first = slice(None, None, len(m.valid) // m.ticks)
        rows = (self._tick + np.arange(m.ticks)) % _FLOOR_TICKS
        self._recent[:, rows] = np.where(m.valid[first], m.mean_square[first], np.nan).T
        self._tick += m.ticks
        self._heard_ticks += m.ticks
        self._follow_floor()
        self._waiting.append(m)
        if self._tick < _FLOOR_TICKS:  # the first seconds are judged once their floor is known
            return
        floor_dbfs = np.fmin(m.floor_dbfs, self._recent_floor_dbfs)
        for stretch in self._waiting:
            self._hear(stretch, floor_dbfs)
        self._waiting.clear()

    def _hear(self, m: Stretch, floor_dbfs: Levels) -> None:
        limit = mean_square_at(floor_dbfs + SPEECH_DB)
        with np.errstate(invalid="ignore"):
            speech = (m.mean_square >= limit) & m.valid & self._watched
        speech &= self._heard_ticks >= _FLOOR_TICKS
        if any_of(speech):
            self._count(m, speech, *self._own(m, speech, floor_dbfs))

    def _follow_floor(self) -> None:
        counts = self._recent > IDLE_MEAN_SQUARE
        ranked = np.sort(np.where(counts, self._recent, np.inf), axis=1)
        number = count_of(counts, axis=1)
        at = (number * _FLOOR_SHARE).astype(np.int64)
        self._recent_floor_dbfs = rms_dbfs(ranked[np.arange(self._tracks), at])
        self._recent_floor_dbfs[number == 0] = np.nan

    def _own(self, m: Stretch, speech: Flags, floor_dbfs: Levels) -> tuple[Flags, Flags]:
        """Where the voice may be this performer's, as no other one's pack is so much louder; and
        where it surely is, as none rises as far over its floor, and it comes and goes.

        Shape (ticks, tracks).
        """
        power = m.by_tick(m.mean_square * m.valid)
        over = np.nan_to_num(power / mean_square_at(floor_dbfs))
        spilt = power * _SPILL <= self._usual_power(m.hop_s * (len(m.valid) // m.ticks))
        theirs, theirs_over, theirs_loud = self._each(
            self._levels.others, power, over, np.where(spilt, 0.0, power)
        )
        mine, mine_over = self._each(self._levels.own, power * self._weights, over)
        newest = (self._tick - 1 - np.arange(_GAP_TICKS)) % _FLOOR_TICKS
        with np.errstate(invalid="ignore"):
            gap = np.fmin.reduce(self._recent[:, newest], axis=1)
            comes = power >= _GAP * gap * (len(m.valid) // m.ticks)
        near = comes & (theirs_over * _NEARER <= mine_over)
        own = (theirs <= mine * _SPILL) | (near & (theirs_loud <= mine * _SPILL))
        near &= own
        heard = comes & (theirs_over * _NEARER**2 <= mine_over)
        heard &= m.by_tick(speech.astype(np.float64)) > 0.0
        self._usual += (power * heard).sum(axis=0)
        self._usual_ticks += count_of(heard, axis=0)
        return own, near

    def _usual_power(self, tick_s: float) -> Levels:
        """Of each pack what it hears of its wearer in a tick; of one who said too little as much as
        the loudest of the others, by main and safety. 0 where that isn't known."""
        known = self._packs & (self._usual_ticks * tick_s >= _KNOWN_S)
        usual = np.where(known, self._usual / np.maximum(self._usual_ticks, 1.0), 0.0)
        return np.where(known, usual, (usual * self._weights).max(initial=0.0) / self._weights)

    @staticmethod
    def _each(highest: Callable[[Levels], Levels], *levels: Levels) -> list[Levels]:
        return np.split(highest(np.concatenate(levels)), len(levels))

    def _count(self, m: Stretch, speech: Flags, own: Flags, near: Flags) -> None:
        each_s = m.hop_s * m.by_tick(speech.astype(np.float64))
        seconds = each_s.sum(axis=0)
        some = seconds > 0
        first_s = m.start_s + m.hop_s * np.argmax(speech, axis=0)
        last_s = m.start_s + m.hop_s * (len(speech) - np.argmax(speech[::-1], axis=0))
        self._last_s = np.where(some, last_s, self._last_s)
        self._now_begin_s = np.where(some & (self._now_s == 0), first_s, self._now_begin_s)
        self._now_s += seconds
        self._now_own_s += (each_s * own).sum(axis=0)
        self._now_near_s += (each_s * near).sum(axis=0)
        self._now_energy += (m.by_tick(m.mean_square * speech) * own).sum(axis=0) * m.hop_s
        full = self._now_s >= PART_S - 1e-9
        if any_of(full):
            self._close_part(full)

    def _close_part(self, full: Flags) -> None:
        now = (self._now_s, self._now_energy, self._now_own_s, self._now_near_s, self._now_begin_s)
        tracks = indices(full)
        self._parts[:-1, :, tracks] = self._parts[1:, :, tracks]
        for kind, values in enumerate(now):
            self._parts[-1, kind, tracks] = values[tracks]
        for values in now[:-1]:
            values[tracks] = 0.0
        heard_s = np.cumsum(self._parts[::-1, _SECONDS, tracks], axis=0)
        enough = heard_s >= self._needed_s[tracks] - 1e-9
        parts = np.where(enough.any(axis=0), enough.argmax(axis=0) + 1, 0)
        for track_index, number in zip(tracks.tolist(), parts.tolist(), strict=True):
            if number:
                self._judge(track_index, number)

    def _judge(self, track_index: int, number: int) -> None:
        """Hold the newest so many parts against the limit."""
        _, energy, own_s, near_s, begins_s = self._parts[-number:, :, track_index].T
        if near_s.sum() < self._least_own_s:
            return
        self._rms_dbfs[track_index] = rms_dbfs(energy.sum() / own_s.sum())
        deadband_db = self._deadband_db * self._low[track_index]
        limit_dbfs = self._limit_dbfs[track_index] + self._turned_db[track_index]
        low = self._rms_dbfs[track_index] < limit_dbfs + deadband_db
        if low and not self._low[track_index]:
            self._onset_s[track_index] = begins_s[0]
        self._low[track_index] = low

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        return f"speech at {self._rms_dbfs[track_index]:.0f} dBFS RMS, far below a usable level"
