"""A gain turned on one of two tracks that hear the same: their ratio steps, whatever sounds.

Model: two packs of one wearer, or the two sides of an ambience, hear voices and place by a ratio
that holds from second to second, in every band, in a lull of the waves as in the middle of a word.
A gain moves all of it by as many decibels; a mic that slips or is covered moves its bands apart,
noise that is added moves what is faint and leaves what is loud. So each tick after is held against
the one before that sounded most like it on the other track, and what is loud, what is faint and
every band must say the same. The one that moved sounds unlike itself, louder or fainter than such
sounds were; where that tells too little, all other mics say which it was, at their quiet moments.
Numbers: ours, measured on scenes from physics; common practice, no source.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.measure.quiet_moments import QUIET_SHARE, Db, quiet
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Levels
from engine.model.percentiles import median, medians

AFTER_TICKS: Final = (30, 80)
SHARE: Final = 0.4
"""A turn leaves so much of itself in the means, whoever begins to speak beside it."""
GAP_TICKS: Final = 12
"""A hand turns a gain within a second; it is looked for every fifth tick."""
BEFORE_TICKS: Final = 60
"""At least so much of the sound before is known."""
PAUSE_DB: Final = 6.0
"""So near to the quiet moments before lies a pause: in words alone a turned head says as much."""
FEWEST_TICKS: Final = 5
EDGE_TICKS: Final = 10
SURE: Final = 1.5
"""So much less like itself sounds the track that moved, or else the other mics must say."""
ALIKE_DB: Final = 1.5
"""So alike is what bands, loud and faint say: a median of ten ratios is known to half a decibel."""
SIDE_DB: Final = 2.5
"""So near to what was before, and to what is after, lie the seconds on either side of the turn."""
WIDTH_DB: Final = 3.0
"""So near to each other, in the mean of their bands, two ticks of the track that stayed are alike:
what is spoken into it, and what the place sends it, differ by more."""
_LEAST_SHARE: Final = 0.6


def may_show(
    db: Db, first: NDArray[np.int64], second: NDArray[np.int64], least_db: float
) -> list[tuple[int, int]]:
    """Of which two tracks the ratio may have stepped, and so many ticks ago: their means say so,
    just beside the turn as well."""
    loud_db = db[:, 0]
    ratio_db = loud_db[:, first] - loud_db[:, second]
    limit_db, found = SHARE * least_db, []
    for ticks in AFTER_TICKS:
        at = len(db) - ticks - GAP_TICKS
        moved_db = _mean(ratio_db[-ticks:]) - _mean(ratio_db[at - BEFORE_TICKS : at])
        beside_db = _mean(ratio_db[-ticks:][:EDGE_TICKS]) - _mean(ratio_db[at - EDGE_TICKS : at])
        may = (np.abs(moved_db) >= limit_db) & (beside_db * np.sign(moved_db) >= limit_db)
        found += [(pair, ticks) for pair in indices(may).tolist()]
    return found


def _mean(db: Db) -> Db:
    return np.asarray(np.add.reduce(db, axis=0) / np.float32(len(db)))


def turn(
    db: Db, ticks: int, first: int, second: int, others: Flags, least_db: float
) -> tuple[int, float] | None:
    """Which of these two tracks was turned so many ticks ago, and by how many dB; None for neither.

    db : (ticks, bands, tracks), level of each band in each tick, the newest last; NaN where unknown
    others : (tracks,) the mics that say which of the two moved
    """
    after_db, before_db = db[-ticks:], db[: -ticks - GAP_TICKS]
    before_db = before_db[~np.isnan(before_db[:, 0, [first, second]]).any(axis=1)]
    if len(before_db) < BEFORE_TICKS or any_of(np.isnan(after_db[:, 0, [first, second]])):
        return None
    two = [first, second]
    if abs(_pauses_db(after_db[:, 0, two]) - _pauses_db(before_db[:, 0, two])) < least_db:
        return None
    steps_db, unlike_db = np.full((2, 2), np.nan)
    for at, (moved, stayed) in enumerate(((first, second), (second, first))):
        before, after = (_Ticks.of(part, moved, stayed) for part in (before_db, after_db))
        steps_db[at], unlike_db[at] = _alike_db(before, after)
    at = int(unlike_db.argmin())
    step_db = float(steps_db[at])
    if np.isnan(step_db):
        return None
    sure = unlike_db[at] * SURE <= unlike_db[1 - at]
    if sure or _says_so(_moved_db(before_db, after_db, two, others), at, step_db):
        return (first, second)[at], step_db
    return None


def _pauses_db(two_db: Db) -> float:
    """The ratio of two tracks, (ticks, 2), where both together are quietest."""
    count = int(QUIET_SHARE * len(two_db))
    at = np.argpartition(two_db[:, 0] + two_db[:, 1], count)[: count + 1]
    return float(median(two_db[at, 0] - two_db[at, 1]))


def _says_so(moved_db: Levels, at: int, step_db: float) -> bool:
    """Whether the one moved by about so much, and the other did not."""
    off_db = max(abs(float(moved_db[at]) - step_db), abs(float(moved_db[1 - at])))
    return off_db < 0.5 * abs(step_db)


def _moved_db(before_db: Db, after_db: Db, two: list[int], others: Flags) -> Levels:
    """How far both moved against what hears least of any voice, at their quiet moments."""
    rest_db = np.concatenate([before_db, after_db])[:, 0, others]
    if rest_db.shape[1]:
        # The least of them may have been turned as well.
        rest_db = np.sort(rest_db - quiet(rest_db), axis=1)
        rest_db = rest_db[:, [min(1, rest_db.shape[1] - 1)]]
    else:
        rest_db = np.zeros((len(rest_db), 1), dtype=np.float32)
    number = len(before_db)
    before, after = before_db[:, 0, two] - rest_db[:number], after_db[:, 0, two] - rest_db[number:]
    return quiet(after) - quiet(before)


class _Ticks(NamedTuple):
    """The bands of the track that stayed, and the ratios to them, both (ticks, bands)."""

    stayed_db: Db
    ratio_db: Db

    @classmethod
    def of(cls, db: Db, moved: int, stayed: int) -> _Ticks:
        return cls(db[:, :, stayed], db[:, :, moved] - db[:, :, stayed])

    def edge(self, ticks: slice) -> _Ticks:
        return _Ticks(self.stayed_db[ticks], self.ratio_db[ticks])


def _alike_db(before: _Ticks, after: _Ticks) -> tuple[float, float]:
    """By how much all ratios moved alike from before to after, NaN where they did not; and how far
    the ticks of the track that stayed are from those most like them."""
    moved_db, off_db = _against_the_like(before, after)
    unlike_db, known = float(median(off_db)), off_db <= WIDTH_DB
    least = _LEAST_SHARE * EDGE_TICKS
    first = known[:EDGE_TICKS]
    if known.mean() < _LEAST_SHARE or np.count_nonzero(first) < least:
        return np.nan, unlike_db
    pause_dbfs = quiet(before.stayed_db[:, 0]) + PAUSE_DB
    faint = known & (after.stayed_db[:, 0] <= pause_dbfs)
    parts = [part for part in (faint, known & ~faint) if np.count_nonzero(part) >= FEWEST_TICKS]
    if np.count_nonzero(faint) < FEWEST_TICKS:
        return np.nan, unlike_db
    said = np.array([medians(moved_db[part], axis=0)[0] for part in parts])
    step_db = float(median(said.ravel()))
    if any_of(np.abs(said - step_db) > ALIKE_DB):
        return np.nan, unlike_db
    last = before.edge(slice(-EDGE_TICKS, None))
    still_db, off_db = _against_the_like(before.edge(slice(None, -EDGE_TICKS)), last)
    still = off_db <= WIDTH_DB
    if np.count_nonzero(still) < least:
        return np.nan, unlike_db
    sides_db = median(moved_db[:EDGE_TICKS][first, 0]) - step_db, median(still_db[still, 0])
    beside = max(abs(float(db)) for db in sides_db) <= SIDE_DB
    return step_db if beside else np.nan, unlike_db


def _against_the_like(before: _Ticks, after: _Ticks) -> tuple[Db, Levels]:
    """Each ratio after less that of the tick before that sounded most like it; and how far that was
    from it, dB, shape (ticks,)."""
    a_db, b_db = after.stayed_db.astype(np.float64), before.stayed_db.astype(np.float64)
    off = (a_db**2).sum(axis=1)[:, np.newaxis] + (b_db**2).sum(axis=1) - 2.0 * (a_db @ b_db.T)
    at = off.argmin(axis=1)
    off_db = np.sqrt(np.maximum(off[np.arange(len(off)), at], 0.0) / a_db.shape[1])
    return after.ratio_db - before.ratio_db[at], off_db
