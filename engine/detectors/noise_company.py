"""Which other tracks rose with a noise: a place is heard by several, talk beside a noise is not it.

Model: rain, water or an engine rises on all that hear it, by the gain of each, and runs there as
evenly as on the one that is asked about. Talk fills the quiet moments of the others by chance, in
steps, and far less than a link's noise fills them.
"""

from __future__ import annotations

import numpy as np

from engine.detectors.noise_gains import PairGains
from engine.model.flag_arrays import count_of
from engine.model.messages import Flags, Levels


def rose_alike(
    shares: Flags, even: Flags, rose_db: Levels, told: Flags, *, within_db: float
) -> Flags:
    """Whether each track (row) rose as the others did (columns): nearly as far, or, until noise was
    told of it, as evenly as hiss.

    Parameters
    ----------
    shares : array of bool, shape (tracks,)
        The open tracks that rose at all.
    even : array of bool, shape (tracks,)
        Those of them that rose as evenly as hiss.
    rose_db : array, shape (tracks,)
        By how much.
    told : array of bool, shape (tracks,)
        Where noise was told of.
    within_db : float
        dB. Nearly as far.
    """
    with np.errstate(invalid="ignore"):
        as_far = rose_db >= (rose_db - within_db)[:, np.newaxis]
    return np.asarray(shares & (as_far | (even & ~told[:, np.newaxis])))


def is_place(alike: Flags, open_tracks: Flags) -> Flags:
    """Where at least half of the other open tracks, two or more, rose alike."""
    others = np.count_nonzero(open_tracks) - open_tracks
    number = count_of(alike, axis=1) - alike.diagonal()
    return np.asarray((number >= 2) & (2 * number >= others))


def rose_with_pair(alike: Flags, pairs: PairGains) -> Flags:
    """Where both packs of a pair rose alike, and hear by their gains what rose."""
    both = alike[:, pairs.main] & alike[:, pairs.safety] & pairs.as_spoken()
    return np.asarray(both.any(axis=1))
