"""Whether what stands out on one track is heard on others as well: fainter, but at that moment."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from engine.model.messages import Flags, Levels

LATER_HOPS: Final = 2
SPAN: Final = 2 + LATER_HOPS
"""Another mic hears it within the hop before, its own or the two after: 7 m of air (arithmetic)."""
RINGS: Final = 3 * SPAN
"""For so many hops it may hear what this track had."""
HEARD: Final = 0.05
"""Where no more of the last second was as loud in the treble, it has heard something: by chance one
moment in twenty. Only moments in which this track did not stand out count."""
RISE: Final = 2.0
"""Where there are too few, it has where its treble has so many times the energy of the quietest hop
lately (3 dB): by chance that is often so, but of many pops some are left."""


def is_shared(energy: Levels, stands_out: Flags, open_: Flags, track_index: int, at: int) -> bool:
    """Whether half of the other open tracks, two or more, hear something round that hop: their
    treble is as loud as hardly ever lately, while this track did not stand out.

    Parameters
    ----------
    energy, stands_out : ndarray, shape (hops, tracks)
        Energy of the treble, and where a hop stands out, over about a second, `LATER_HOPS` more
        than up to that hop at least.
    open_ : ndarray, shape (tracks,)
        What hears the place.
    """
    here = at - 1
    if here < RINGS:
        return False
    alone = ~sliding_window_view(stands_out[:here, track_index], RINGS).any(axis=-1)
    loud = energy[here : here + SPAN].max(axis=0)
    if np.count_nonzero(alone) * HEARD < 1.0:
        # It never rests. Has one risen that stands out itself less than half as often? In rain all
        # do.
        often = stands_out.mean(axis=0)
        heard = loud >= RISE * energy[here - SPAN : here].min(axis=0)
        heard &= 2.0 * often < often[track_index]
    else:
        lately = sliding_window_view(energy[RINGS - SPAN : here], SPAN, axis=0).max(axis=-1)
        heard = (lately[alone] >= loud).mean(axis=0) <= HEARD
    others = open_.copy()
    others[track_index] = False
    number = np.count_nonzero(heard & others)
    return bool(number > 1 and 2 * number >= np.count_nonzero(others))
