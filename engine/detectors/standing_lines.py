"""Which lines of the newest look at a track stand, and since when.

A line that is found at the same place in most looks stands, as the tracks of partials are linked
(R. McAulay and T. Quatieri, IEEE Trans. ASSP 34(4), 744-754, 1986).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import Final

import numpy as np

from engine.detectors.tone_company import KEPT, LOOKS, Company, Look
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import Levels

LOOK_TICKS: Final = 5
"""Ticks from one look to the next."""
TICKS: Final = (KEPT + 1) * LOOK_TICKS
"""Ticks whose quietest moment is remembered."""


def standing(
    looks: Sequence[Look],
    hz: Levels,
    level_dbfs: Levels,
    *,
    same: float,
    steady_db: float,
    least: int,
) -> list[int]:
    """Which of these lines were there, within `steady_db` as loud, in so many of the newest looks.

    `same` is relative; `hz` and `level_dbfs` have shape (lines,).
    """
    newest = list(looks)[-LOOKS:]
    if len(newest) < least or not len(hz):
        return []
    all_hz = np.concatenate([look.hz for look in newest])
    all_dbfs = np.concatenate([look.level_dbfs for look in newest])
    near = np.abs(all_hz / hz[:, np.newaxis] - 1.0) <= same
    near &= np.abs(all_dbfs - level_dbfs[:, np.newaxis]) <= steady_db
    sizes = [len(look.hz) for look in newest if len(look.hz)]
    in_look = np.logical_or.reduceat(near, [0, *accumulate(sizes[:-1])], axis=1)
    lines: list[int] = indices(count_of(in_look, axis=1) >= least).tolist()
    return lines


def began_s(
    looks: Sequence[Look],
    hz: float,
    quiet_dbfs: Levels,
    *,
    company: Company,
    most_missed: int,
    tick_s: float,
) -> float:
    """Begin of the first look that shows the line without a break, and of the ticks before that in
    which the track was never quieter than the line was then, s.

    A howl grows by as many decibels in each tick; it is followed back as far as it was louder than
    the place.

    quiet_dbfs : (TICKS,) the quietest hop of each tick, that of tick n in row n modulo `TICKS`
    most_missed : so many looks in a row may miss it
    """
    first, level_dbfs, growth_db, missed = looks[-1], -np.inf, 0.0, 0
    for look in reversed(looks):
        near = np.abs(look.hz / hz - 1.0) <= company.same
        missed = 0 if any_of(near) else missed + 1
        if missed > most_missed:
            break
        if any_of(near):
            newer_dbfs, newer = level_dbfs, first
            first, level_dbfs = look, float(look.level_dbfs[near].max())
            growth_db = (newer_dbfs - level_dbfs) / max(newer.tick - look.tick, 1)
    grows = growth_db * LOOK_TICKS > company.steady_db
    place_dbfs = quiet_dbfs.min()
    ticks = 0
    for back in range(1, LOOK_TICKS * (2 if grows else 1)):
        then_dbfs = level_dbfs - (growth_db * back if grows else 0.0)
        if quiet_dbfs[(first.tick - 1 - back) % TICKS] < then_dbfs - company.steady_db or (
            grows and then_dbfs < place_dbfs
        ):
            break
        ticks = back
    return max(first.start_s - ticks * tick_s, 0.0)
