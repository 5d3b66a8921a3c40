"""Pops: electrical steps too few or too small for an alarm, counted tick by tick. Pure.

A contact that opens jumps within a sample or two, while what comes through air and a capsule rings
for milliseconds: a hop with eight times the treble of the hops round it, half of which lies in
seven samples. In white noise seven of 480 hold a hundredth.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Measurement

STANDS_OUT: Final = 8.0
SHARE: Final = 0.5
WIDTH: Final = 3
"""Samples on each side of the step, at 48 kHz."""
LEAST: Final = 0.005
"""Full scale 1.0: a quarter of what an alarm counts. Ours."""


def count_pops(ticks: Sequence[Measurement]) -> NDArray[np.int64]:
    """How many each tick has, shape (ticks, tracks); none where there are no samples."""
    energy = np.stack([m.difference_energy for m in ticks])
    count = np.zeros((len(ticks), energy.shape[2]), dtype=np.int64)
    if not len(ticks[0].samples):
        return count
    hops, frames = energy.shape[1], len(ticks[0].samples) // energy.shape[1]
    usual = np.sort(energy, axis=1)[:, hops // 2 : hops // 2 + 1]
    out = (energy > STANDS_OUT * usual) & (energy * frames > LEAST**2)
    width = max(WIDTH, round(WIDTH * frames / (48_000 * ticks[0].hop_s)))
    for tick, hop, track in np.argwhere(out):
        m = ticks[tick]
        if m.valid[hop, track]:
            steps = np.square(np.diff(m.samples[hop * frames : (hop + 1) * frames, track]))
            top = int(steps.argmax())
            here = steps[max(top - width, 0) : top + width + 1].sum()
            count[tick, track] += here > SHARE * steps.sum() and steps[top] > LEAST**2
    return count
