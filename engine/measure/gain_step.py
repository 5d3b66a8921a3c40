"""A gain turned by hand: a track's whole sound, place and voice, steps by as many decibels.

Model: an amplifier does not know what it amplifies. Its gain moves every band by the same number of
decibels within the moment a hand takes, and no other track; a mic that is covered, slips or dies, a
source that stops and a crowd that rises all change the shape of the spectrum, take longer or are
heard elsewhere too. The quiet moments of a few seconds before and after (the lowest fifth, a low
order statistic as in `measure.floor`) are compared in four bands. An attenuation by more than
20 dB is no trim any more, and what sinks under the level of every healthy pause is a loss.
Numbers: ours, measured on the scenes of the tests; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.common_gain import common_step_db
from engine.measure.paired_gain import GAP_TICKS, may_show, turn
from engine.measure.presence import unlearned_dbfs
from engine.measure.quiet_moments import QUIET_SHARE, quiet
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Kind, Levels, Samples
from engine.model.percentiles import median
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_MEAN_SQUARE, rms_dbfs

BANDS: Final = 4
"""The whole sound, its treble, its low end to about 1 kHz, and the upper half of that."""
DOWN_TICKS: Final = (15, 40, 80)
UP_TICKS: Final = (80,)
"""What is quieter shows in 4 s, or once whoever speaks has paused; what is louder may be a voice
and takes 8 s of its pauses. Where nobody is near, 1.5 s show it."""
TURN_TICKS: Final = 6
"""A hand turns a gain within this."""
BESIDE_TICKS: Final = 10
EVERY_TICKS: Final = 2
PAIR_TICKS: Final = 5
ALL_TICKS: Final = 10
"""So often two tracks, and all, are held against each other."""
LOST_DB: Final = 12.0
PAIR_LEAST_DB: Final = 5.0
"""A turn by 6 dB shows in a ratio to within one."""
BEFORE_TICKS: Final = 80
"""At least so much of the sound before is known."""
_DEPTH: Final = 300
_ROUNDING_DB: Final = 0.001
"""More than what the levels, float32, are rounded by."""


class GainStep(TrackMemory):
    """Finds steps of the whole sound of one track, or of all.

    Attributes
    ----------
    floor_dbfs : ndarray, shape (tracks,)
        The last floor that was known of each: what falls together is at first a source that stops.
    """

    floor_dbfs: Levels = per_track(np.nan)
    _turned_db: Levels = per_track(0.0)
    """The last step of each."""

    _rows: NDArray[np.float32] = per_track(np.nan, rows=(2 * _DEPTH, BANDS), dtype=np.float32)
    """The newest levels end at `_end`; what is older than `_DEPTH` ticks is overwritten."""
    _end: int = remembered(By.WHOLE, _DEPTH)
    _tick: int = remembered(By.WHOLE, 0)

    def __init__(
        self,
        scene: Scene,
        *,
        least_db: float = 6.0,
        most_db: float = 20.0,
        same_db: float = 2.0,
        step_db: float = 3.0,
        still_db: float = 3.5,
        still_share: float = 0.3,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are measured.
        least_db, most_db : float
            dB. A smaller step is no danger to any learned level, a larger one is no trim.
        same_db : float
            dB. All bands move by the same within this: quiet moments of 2 s are known to about
            1 dB.
        step_db : float
            dB. So near to the level after it lies the sound just after the step, and the newest.
        still_db, still_share : float
            dB, share. So many of the other tracks are seen to have stayed this near to their
            floors.
        """
        # A pad of that much is a trim, as near as its quiet moments say it.
        self._least_db, self._most_db, self._same_db = least_db, most_db + same_db, same_db
        self._near_db, self._still_db, self._still_share = step_db, still_db, still_share
        self._tracks = len(scene.tracks)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._far = scene.kinds(Kind.AMBIENCE)
        self._least_dbfs = unlearned_dbfs(scene)
        sides = indices(self._far).tolist()
        pairs = [*scene.pairs(), *([sides] if len(sides) == 2 else [])]
        self._first, self._second = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
        self.reset()

    @staticmethod
    def levels_db(
        mean_square: Levels, difference_energy: Levels, decimated: Samples, valid: Flags
    ) -> Levels:
        """Level of each band in each tick, shape (ticks, bands, tracks); NaN where none counts.

        Parameters
        ----------
        mean_square, difference_energy : (tracks, ticks), means of each tick
        decimated : (tracks, ticks, frames)
        valid : (tracks, ticks) the whole tick counts
        """
        step = decimated[..., 1:] - decimated[..., :-1]
        low = np.vecdot(decimated, decimated) / decimated.shape[-1]
        low_step = np.vecdot(step, step) / step.shape[-1]
        power = np.stack([mean_square, difference_energy, low, low_step]).transpose(2, 0, 1)
        counts = valid & (mean_square >= IDLE_MEAN_SQUARE)
        return np.where(counts.T[:, None], rms_dbfs(power), np.nan)

    def update(self, levels_db: Levels, floor_dbfs: Levels) -> Levels:
        """Take in one tick.

        Parameters
        ----------
        levels_db : (bands, tracks), see `levels_db`
        floor_dbfs : (tracks,) learned live floor; NaN where it is not known

        Returns
        -------
        gain_db : Levels
            Shape (tracks,): the step that was recognised in this tick, 0 where there was none.
        """
        if self._end == len(self._rows):
            self._rows[: _DEPTH - 1] = self._rows[1 - _DEPTH :]
            self._end = _DEPTH - 1
        self._rows[self._end] = levels_db
        self._end += 1
        self._tick += 1
        gain_db = np.zeros(levels_db.shape[1])
        if self._tick % EVERY_TICKS == 0:
            for sign, ticks in self._may_show(floor_dbfs):
                self._look(gain_db, sign, ticks, floor_dbfs)
            if any_of(gain_db != 0.0):  # the same step is not to be found again
                self._db[:, :, gain_db != 0.0] = np.nan
        if self._tick % PAIR_TICKS == 0:
            self._look_at_pairs(gain_db, floor_dbfs)
            if self._tick % ALL_TICKS == 0:
                self.floor_dbfs = np.where(np.isnan(floor_dbfs), self.floor_dbfs, floor_dbfs)
                self._look_at_all(gain_db)
        elif self._tick % EVERY_TICKS:
            return gain_db
        if any_of(gain_db != 0.0):
            self._turned_db = np.where(gain_db != 0.0, gain_db, self._turned_db)
        return gain_db

    def _look_at_pairs(self, gain_db: Levels, floor_dbfs: Levels) -> None:
        """Write what the ratio of two tracks shows into `gain_db`."""
        db = self._db
        for pair, ticks in may_show(db, self._first, self._second, PAIR_LEAST_DB):
            first, second = int(self._first[pair]), int(self._second[pair])
            others = self._open.copy()
            others[[first, second]] = False
            shown = turn(db, ticks, first, second, others, 0.8 * PAIR_LEAST_DB)
            if shown is None or gain_db[shown[0]] != 0.0:
                continue
            moved, step_db = shown
            now_dbfs = float(quiet(db[-ticks:, 0, moved]))
            floor_db = float(floor_dbfs[moved])
            if abs(step_db) >= PAIR_LEAST_DB and self._is_trim(moved, step_db, now_dbfs, floor_db):
                gain_db[moved] = step_db
                db[: -ticks - GAP_TICKS, :, moved] += np.float32(step_db)
                db[-ticks - GAP_TICKS : -ticks, :, moved] = np.nan

    def _look_at_all(self, gain_db: Levels) -> None:
        """Write what all mics show into `gain_db`."""
        shown = common_step_db(self._db, self._open, self._least_db)
        if shown is not None and shown[0] >= -self._most_db:
            step_db, tracks = shown
            gain_db[tracks] = step_db
            self._db[:, :, tracks] = np.nan

    def _is_trim(
        self, track_index: int, step_db: float, now_dbfs: float, floor_dbfs: float
    ) -> bool:
        """Whether that is no loss: what was turned up may be turned back."""
        # It lies about where the turn put it (NaN where no floor is known): what sways in a loss,
        # or comes back from one, was not learned there.
        share = (now_dbfs - floor_dbfs) / step_db
        if share < 0.5 or (step_db < 0.0 and share > 2.0):
            return False
        lost = -step_db > LOST_DB and now_dbfs < self._least_dbfs[track_index]
        back = abs(step_db + self._turned_db[track_index]) <= self._near_db
        return back or (-step_db <= self._most_db and not lost)

    @property
    def _db(self) -> NDArray[np.float32]:
        """The newest levels, shape (ticks, bands, tracks)."""
        return self._rows[self._end - _DEPTH : self._end]

    def _look(self, gain_db: Levels, sign: float, ticks: int, floor_dbfs: Levels) -> None:
        """Write steps down or up that the newest so many ticks show into `gain_db`."""
        now_dbfs = quiet(self._db[-ticks:, :1])[0]
        off_db = sign * (now_dbfs - floor_dbfs)  # NaN where either is not known
        may = self._open if ticks > min(DOWN_TICKS) else self._far
        may = may & (gain_db == 0.0)
        off = np.flatnonzero(may & (off_db >= self._least_db - self._same_db))
        # What another track shows as well was in the place; one that is spoken into can't say.
        still = self._open & (np.abs(off_db) <= self._still_db)
        others_still = np.count_nonzero(still) - still[off]
        alone = others_still >= self._still_share * (np.count_nonzero(self._open) - 1)
        for track_index in off[alone]:
            others = self._open.copy()
            others[track_index] = False
            shared_db = np.fmax.reduce(off_db[others], initial=0.0)
            step_db = self._step_db(int(track_index), ticks)
            trim = self._least_db <= sign * step_db and self._is_trim(
                int(track_index),
                step_db,
                float(now_dbfs[track_index]),
                float(floor_dbfs[track_index]),
            )
            if trim and shared_db < 0.5 * abs(step_db):
                gain_db[track_index] = step_db

    def _may_show(self, floor_dbfs: Levels) -> Iterator[tuple[float, int]]:
        """Sign and ticks of the steps that some track may show: where its quiet moments may lie off
        the floor. A count says so, which costs less than sorting."""
        off_db = self._least_db - self._same_db - _ROUNDING_DB
        newest = self._db[-max(*DOWN_TICKS, *UP_TICKS) :, 0]
        for sign, scales in ((-1.0, DOWN_TICKS), (1.0, UP_TICKS)):
            lower = newest <= floor_dbfs + sign * off_db
            for ticks in scales:
                counts = np.add.reduce(lower[-ticks:], axis=0, dtype=np.intp)
                needed = int(QUIET_SHARE * ticks)
                if any_of((counts > needed if sign < 0.0 else counts <= needed) & self._open):
                    yield sign, ticks

    def _step_db(self, track_index: int, ticks: int) -> float:
        """By how much all bands of that track moved alike; 0 where they did not."""
        db = self._db[:, :, track_index]
        after, before = db[-ticks:], db[: -ticks - TURN_TICKS]
        before = before[~np.isnan(before[:, 0])]
        if len(before) < BEFORE_TICKS or any_of(np.isnan(after)):
            return 0.0
        moved_db = quiet(after) - quiet(before)
        step_db = float(median(moved_db))
        parts = (after[:BESIDE_TICKS], after[-BESIDE_TICKS:])
        at_once = all(abs(quiet(part)[0] - quiet(after)[0]) <= self._near_db for part in parts)
        return step_db if at_once and (np.abs(moved_db - step_db) <= self._same_db).all() else 0.0
