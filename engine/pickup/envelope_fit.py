"""How much of a track's sound follows a voice: its power as a share of the voice's, and a rest.

Least squares of one regressor and a constant, hop by hop (the textbook normal equations).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Levels
from engine.model.percentiles import quantiles

QUIET_SHARE: Final = 0.1
"""That share of the hops in a second of speech falls between words (a tenth; ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Of every track, shape (tracks,).

    share : power of the voice there over its power on the reference
    over : mean power of the voice there over the quiet hops of the same second
    r : correlation of the two powers
    """

    share: NDArray[np.float64]
    over: NDArray[np.float64]
    r: NDArray[np.float64]


def fit(reference: Levels, power: Levels, least_rest: Levels) -> Fit:
    """Explain each track's power by the reference's.

    Parameters
    ----------
    reference : (hops, tracks)
        Power of the voice's own pack, brought to where each track hears it.
    power : (hops, tracks)
        Mean square of the tracks.
    least_rest : (tracks,)
        Mean square of the track's own sound, as learned before: no rest is less.
    """
    mean_reference, mean_power = reference.mean(axis=0), power.mean(axis=0)
    x, y = reference - mean_reference, power - mean_power
    xx, yy, xy = (x * x).sum(axis=0), (y * y).sum(axis=0), (x * y).sum(axis=0)
    share = np.maximum(xy, 0.0) / np.maximum(xx, 1e-300)
    rest = np.maximum(quantiles(power, QUIET_SHARE), np.maximum(least_rest, 1e-300))
    r = xy / np.sqrt(np.maximum(xx * yy, 1e-300))
    return Fit(share, np.maximum(mean_power / rest - 1.0, 0.0), r)
