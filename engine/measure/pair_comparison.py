"""Two microphones that hear one voice: how their gains and their polarity compare."""

from __future__ import annotations

import numpy as np

from engine.model.messages import Levels


def gain_offset_db(first: Levels, second: Levels) -> Levels:
    """First less second, dB, from the energies of one sound on both; any one shape, none zero."""
    return np.asarray(10.0 * np.log10(first / second))


def polarity(correlation: Levels, energies: Levels, clearer: float = 1.0) -> tuple[int, float]:
    """Whether two sounds are upright or inverted, by the strongest correlation at any lag.

    Parameters
    ----------
    correlation : ndarray, shape (lags,)
        Sums of products at each lag; Pearson's r of an inverted copy is -1, whatever its gain.
    energies : ndarray, shape (2,)
        Sums of squares of the two.
    clearer : float
        Least ratio of the strongest correlation to the strongest of the other sign.

    Returns
    -------
    sign : int
        +1 upright, -1 inverted, 0 where neither is clear.
    strongest : float
        The strongest correlation coefficient of that sign, signed; of either where it is not clear.
    """
    r = correlation / np.sqrt(max(float(energies[0] * energies[1]), 1e-30))
    highest, lowest = float(r.max()), float(-r.min())
    if highest >= clearer * lowest:
        return 1, highest
    if lowest >= clearer * highest:
        return -1, -lowest
    return 0, max(highest, -lowest, key=abs)
