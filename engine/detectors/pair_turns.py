"""How seldom the heads of a pair's wearer alone would do what the pair does.

Model: who speaks looks somewhere for some seconds, then elsewhere, and the ratio of both packs goes
along: so not the parts of speech but the looks are the samples. Most lie close together, a few far
off to one side. A change for good has to be more than either allows: more than looks that scatter
as these did (two-sample t-test by a pooled deviation: Student, "The probable error of a mean",
1908; its tail by D. L. Wallace, "Bounds on normal approximations to Student's and the chi-square
distributions", 1959), and more looks in turn than would lie so far off by chance (Laplace's
rule of succession). How far heads turn that are hardly known yet is a guess: common practice, no
source.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any, Final

import numpy as np

from engine.detectors.pair_parts import BANDS
from engine.model import percentiles
from engine.model.flag_arrays import count_of
from engine.model.messages import Flags, Levels

LOOK_S: Final = 3.0
"""Who speaks on for so long may have turned anew."""
LEAST_PARTS: Final = 2
"""Fewer parts of speech say nothing of a look."""
SCATTER: Final = np.array([1.0, 1.5, 2.0])
"""Standard deviation of looks, dB, of voice, treble and sibilants, of those who are not known."""
PRIOR: Final = 4.0
"""Degrees of freedom that this guess counts for."""
FAR: Final = 0.5
NEAR: Final = 3.0
"""Looks that this guess counts for, far off and near."""
CHANCE: Final = 1e-4
"""Looks that scatter as before differ by so much once in so many changes that are tested."""
LOUDER: Final = 0.05
"""A voice is louder than it was by so much once in so many times."""
IN_TURN: Final = 3e-4
"""Looks lie so far off, one after the other, so seldom by chance."""


def looks(parts_db: Levels, begin_s: Levels) -> Levels:
    """The median of the parts of speech of each look, shape (looks, bands), NaN where not heard.

    parts_db, begin_s : shape (parts, bands) and (parts,), the newest last
    """
    cuts: list[int] = []
    for n, at_s in enumerate(begin_s.tolist()):
        if not cuts or at_s - begin_s[cuts[-1]] > LOOK_S:
            cuts.append(n)
    cuts.append(len(begin_s))
    rows = [band_medians(parts_db[a:b]) for a, b in pairwise(cuts) if b - a >= LEAST_PARTS]
    return np.array(rows).reshape(-1, BANDS)


def band_medians(rows: Any) -> Levels:
    """Of each column; NaN where half of it is."""
    table = np.asarray(rows)
    some = count_of(~np.isnan(table), axis=0) > len(table) / 2
    return np.where(some, percentiles.known_medians(table), np.nan)


def no_heads(before: Levels, since: Levels, change_db: Levels) -> Flags:
    """In which bands heads alone do hardly what those looks do.

    Parameters
    ----------
    before, since : ndarray, shape (looks, bands)
        dB from the learned offset, NaN where not heard.
    change_db : ndarray, shape (bands,)
        What they are said to have changed by.
    """
    return (_chances(before, since, change_db) < CHANCE) & (
        _in_turn(before, since, change_db) < IN_TURN
    )


def rises(before: Levels, since: Levels) -> Flags:
    """In which bands those looks are louder, dB, than looks that vary as these are."""
    risen_db = _mean(since) - _mean(before)
    return (risen_db > 0.0) & (_chances(before, since, risen_db) < LOUDER)


def _chances(before: Levels, since: Levels, change_db: Levels) -> Levels:
    """How often the means of both differ by that much: of a band of which nothing was heard before,
    one look is what was learned."""
    freedom = np.full(BANDS, PRIOR)
    squares = PRIOR * np.square(SCATTER)
    share = np.zeros(BANDS)
    for group in (before, since):
        heard = count_of(~np.isnan(group), axis=0)
        squares += np.nansum(np.square(group - _mean(group)), axis=0)
        freedom += np.maximum(heard - 1, 0)
        share += 1.0 / np.maximum(heard, 1)
    spread_db = np.sqrt(squares / freedom)
    # The treble turns with a head no less than the voice, also where it is not heard.
    spread_db = np.maximum(spread_db, spread_db[0])
    t = np.abs(np.nan_to_num(change_db)) / (spread_db * np.sqrt(share))
    normal = np.sqrt(freedom * np.log1p(t * t / freedom)) * (8 * freedom + 1) / (8 * freedom + 3)
    return np.array([math.erfc(z / math.sqrt(2.0)) for z in normal.tolist()])


def _mean(group: Levels) -> Levels:
    """Of each band; 0 where nothing was heard."""
    heard = count_of(~np.isnan(group), axis=0)
    return np.asarray(np.nansum(group, axis=0) / np.maximum(heard, 1))


def _in_turn(before: Levels, since: Levels, change_db: Levels) -> Levels:
    """How often looks lie off by half of that, to one side, as often as they do since."""
    far_db = 0.5 * np.abs(change_db)
    far = count_of(np.abs(before) > far_db, axis=0)
    share = (far + FAR) / (count_of(~np.isnan(before), axis=0) + FAR + NEAR)
    off = np.sign(change_db) * since > far_db
    back = count_of(~off & ~np.isnan(since), axis=0)
    return np.asarray(share ** np.maximum(count_of(off, axis=0) - back, 0))
