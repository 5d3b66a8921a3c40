"""What gains say of a noise that rose: one that was turned moves the voice as well, and what came
in behind them is as loud on all.

Model: a gain moves all that is spoken by as much as the floor; a link's noise leaves it, but hides
the fainter of it. So what was spoken before is taken as it was, and as much louder as the floor is
by now, each time what would stand over the quiet moments; what is spoken now lies nearer to the one
or the other, as a whole and in its loudest: a wearer who speaks up after others did is louder than
they were, and no louder than before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.pack_gains import NEAR_DB, STAGGERED_DB
from engine.model.flag_arrays import any_of, count_of
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track
from engine.model.units import rms_dbfs

Indices = NDArray[np.int64]

GAINS_DB: Final = 3.0
"""Floors that differ by this standard deviation show that gains do."""
GAINS_RATIO: Final = 2.3
"""Theirs is so many times that of the levels of what came in behind the gains: the F-test of two
variances at 1 % with nine degrees of freedom each asks for 5.35, its square."""
KEPT_TICKS: Final = 600
"""Speech of the last minute is remembered."""
SPOKEN: Final = 10.0
"""What is spoken stands so far over what is quiet, power (10 dB, CONTRACT.md)."""
FEWEST: Final = 5
"""Ticks with speech since, half a second; before it took seven times as many."""
SURE_LOOKS: Final = 3


def _mean_power_db(levels_db: Levels) -> float:
    return float(10.0 * np.log10(np.power(10.0, 0.1 * levels_db).mean()))


@dataclass(frozen=True, slots=True, eq=False)
class PairGains:
    """By how much louder each main is than its safety, dB, shape (pairs,).

    main, safety : their tracks
    level_db : in what rose
    voice_db : in what was spoken before; NaN where nobody was heard
    """

    main: Indices
    safety: Indices
    level_db: Levels
    voice_db: Levels

    def as_spoken(self) -> Flags:
        """Where what rose differs rather as the voice does than not at all."""
        with np.errstate(invalid="ignore"):
            return np.asarray(np.abs(self.level_db - self.voice_db) < np.abs(self.level_db))

    def by_air(self) -> Flags:
        """The same; where nobody was heard, the main is the louder, as it is meant to be."""
        planned = (self.level_db > NEAR_DB) & (self.level_db < STAGGERED_DB)
        return np.where(np.isnan(self.voice_db), planned, self.as_spoken())


def is_behind_gains(
    shares: Flags, treble_dbfs: Levels, usual_dbfs: Levels, pairs: PairGains
) -> bool:
    """Whether what three tracks or more share is as loud on all, unlike their floors; `pairs` are
    those that share it, and differ by their gains in all that comes through the air."""
    if np.count_nonzero(shares) < 3 or (len(pairs.level_db) and pairs.by_air().all()):
        return False
    spread_db = float(treble_dbfs[shares].std())
    usual_db = float(usual_dbfs[shares].std())
    return usual_db >= max(GAINS_DB, GAINS_RATIO * spread_db)


class TurnedGain(TrackMemory):
    """Remembers how loud each track was spoken into."""

    _spoken: Levels = per_track(np.nan, rows=KEPT_TICKS)
    """Mean square of the hops of each tick with speech."""
    _looks: NDArray[np.int64] = per_track(0)
    """So many judgements in a row said that a gain was turned."""

    def __init__(self, tracks: int) -> None:
        """Start with nothing heard."""
        self._tracks = tracks
        self.reset()

    def hear(self, tick: int, power: Levels | float, hops: NDArray[np.int64] | None) -> None:
        """Take in the hops with speech of that tick: their powers added up, and how many; None
        where nobody speaks."""
        spoken = self._spoken[tick % KEPT_TICKS]
        spoken.fill(np.nan)
        if hops is not None:
            np.divide(power, hops, out=spoken, where=hops > 0)

    def forget(self, tracks: Flags) -> None:
        """What was spoken there says nothing any more."""
        self._spoken[:, tracks] = np.nan
        self._looks[tracks] = 0

    def voice_db(self, tick: int, before: int, first: Indices, second: Indices) -> Levels:
        """By how much louder the first tracks were spoken into than the second until so many ticks
        ago, dB; NaN where nobody was heard on both: what rose since may look like speech itself."""
        kept = (tick - np.arange(before, KEPT_TICKS)) % KEPT_TICKS
        louder_db = rms_dbfs(self._spoken[kept][:, first]) - rms_dbfs(self._spoken[kept][:, second])
        few = count_of(~np.isnan(louder_db), axis=0) < FEWEST
        louder_db[:, few] = 0.0
        return np.where(few, np.nan, np.nanmedian(louder_db, axis=0))

    def is_turned(
        self, track_index: int, tick: int, lasts: int, power: float, rose_db: float
    ) -> bool:
        """Whether the voice of that track says so of a rise that lasts for so many ticks, up to
        that one; `power` is that of the quiet moments now."""
        ages = (tick - np.arange(KEPT_TICKS)) % KEPT_TICKS
        spoken_dbfs = rms_dbfs(self._spoken[ages, track_index])
        heard = self._spoken[ages, track_index] > 0.0
        now, before = spoken_dbfs[:lasts][heard[:lasts]], spoken_dbfs[lasts:][heard[lasts:]]
        least_dbfs = float(rms_dbfs(SPOKEN * power))
        now = now[now >= least_dbfs]
        if len(now) < FEWEST or len(before) < 7 * FEWEST:
            return False
        for mean in (np.mean, _mean_power_db):
            as_it_was, louder = (
                abs(float(mean(now)) - float(mean(said[said >= least_dbfs])))
                if any_of(said >= least_dbfs)
                else np.inf
                for said in (before, before + rose_db)
            )
            if not 2.0 * louder < as_it_was:
                return False
        return True

    def sure(self, turned: list[int]) -> Flags:
        """Where that was said for a while now: in lively talk the meter may not see it
        (`measure.gain_step`)."""
        looks = np.zeros_like(self._looks)
        looks[turned] = self._looks[turned] + 1
        self._looks = looks
        return np.asarray(looks >= SURE_LOOKS)
