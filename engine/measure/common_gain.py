"""A gain turned on everything at once: a master fader, a group that holds all mics.

Model: whatever comes through the air, a crowd that goes, a machine that stops, leaves each mic with
what was beside it there, another spectrum at another distance. Only a gain moves the quiet moments
of all tracks, in all their bands, by as many decibels within a second. Four mics in four bands that
agree within two decibels do so by no chance. Numbers: ours; common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.measure.quiet_moments import Db, quiet
from engine.model.messages import Flags
from engine.model.percentiles import median

TICKS: Final = (15, 40, 80)
"""What is seen after the turn: 1.5 s where nobody speaks, else the pauses of up to 8 s."""
GAP_TICKS: Final = 12
BEFORE_TICKS: Final = 60
EDGE_TICKS: Final = 20
LEAST_TRACKS: Final = 4
MOST: Final = 0.75
"""Share of the mics that are judged."""
ALIKE_DB: Final = 2.0
SIDE_DB: Final = 3.0
"""What falls over seconds has sunk by more than this before it is down."""


def common_step_db(db: Db, mics: Flags, least_db: float) -> tuple[float, Flags] | None:
    """By how many dB all mics moved, and which tracks did; None where they did not.

    db : (ticks, bands, tracks), the newest last; NaN where unknown
    mics : (tracks,) which of them are to agree
    """
    if not _may_show(db[:, 0, mics], least_db):
        return None
    for ticks in TICKS:
        after, before = db[-ticks:], db[: -ticks - GAP_TICKS]
        known = ~np.isnan(after[:, 0]).any(axis=0)
        known &= np.count_nonzero(~np.isnan(before[:, 0]), axis=0) >= BEFORE_TICKS
        agree = known & mics
        if np.count_nonzero(agree) < max(LEAST_TRACKS, MOST * np.count_nonzero(mics)):
            continue
        was_db, now_db = quiet(before), quiet(after)
        moved_db = now_db - was_db
        step_db = float(median(moved_db[:, agree].ravel()))
        alike = np.asarray((np.abs(moved_db - step_db) <= ALIKE_DB).all(axis=0))
        if abs(step_db) < least_db or not alike[agree].all():
            continue
        sank_db = float(median((quiet(before[-EDGE_TICKS:]) - was_db)[0, agree]))
        if step_db > 0.0 or sank_db >= -SIDE_DB:
            return step_db, known & alike
    return None


def _may_show(mics_db: Db, least_db: float) -> bool:
    """Whether most mics are quieter than they were, or never as quiet; (ticks, mics)."""
    longest = max(TICKS)
    was_db = np.fmin.reduce(mics_db[: -longest - GAP_TICKS])
    moved_db = np.fmin.reduce(mics_db[-longest:]) - was_db
    least_db -= ALIKE_DB
    number = max(np.count_nonzero(moved_db <= -least_db), np.count_nonzero(moved_db >= least_db))
    return bool(number >= max(LEAST_TRACKS, MOST * len(moved_db)))
