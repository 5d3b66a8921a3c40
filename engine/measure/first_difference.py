"""The treble of one tick: the energy of the step from sample to sample, for those who need it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Measurement


def treble(m: Measurement, lag: int) -> NDArray[np.float32]:
    """Mean square of x[n] - x[n - lag] over each hop, shape (hops, tracks); not to be changed.

    The first `lag` steps of a tick count as none. Made once a tick for all who ask.
    """
    return m.once(("treble", lag), lambda: _treble(m, lag))


def _treble(m: Measurement, lag: int) -> NDArray[np.float32]:
    x = m.samples.T
    hops, tracks = m.valid.shape
    step = np.empty_like(x)
    np.subtract(x[:, lag:], x[:, :-lag], out=step[:, lag:])
    step[:, :lag] = 0.0
    by_hop = step.reshape(tracks, hops, -1)
    return np.asarray((np.vecdot(by_hop, by_hop) * np.float32(1.0 / by_hop.shape[-1])).T)
