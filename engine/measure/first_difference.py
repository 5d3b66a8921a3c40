"""The energy of the step from sample to sample: a first difference weighs the treble.

|1 - exp(-jw)| rises by 6 dB an octave (arithmetic), so of a voice hardly anything is left below
1 kHz, and all of a hiss.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.level import some_rows
from engine.model.messages import Samples

REFERENCE_HZ: Final = 48_000
"""At multiples of this rate the step spans as much time as one sample does at this rate."""


def difference_lag(sample_rate_hz: int) -> int:
    """Samples that a step spans at that rate, at least 1."""
    return max(1, round(sample_rate_hz / REFERENCE_HZ))


def difference_energy(
    channels: Samples, hops: int, lag: int, ticks: int = 1
) -> NDArray[np.float32]:
    """Mean square of x[n] - x[n - lag] over each hop, shape (tracks, hops).

    `channels` has shape (tracks, frames), of `hops` hops in all, which are `ticks` ticks. The first
    `lag` steps of each tick count as none.
    """
    energy = np.empty((len(channels), hops), dtype=np.float32)
    for which in some_rows(channels):
        x = channels[which]
        step = np.empty(x.shape, dtype=np.float32)
        np.subtract(x[:, lag:], x[:, :-lag], out=step[:, lag:])
        step.reshape(len(x), ticks, -1)[:, :, :lag] = 0.0
        by_hop = step.reshape(len(x), hops, -1)
        np.vecdot(by_hop, by_hop, out=energy[which])
    return energy * np.float32(1.0 / (channels.shape[1] // hops))
