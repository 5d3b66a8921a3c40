"""Pops: electrical steps too few or too small for an alarm, counted tick by tick. Pure.

A contact that opens jumps within a sample or two, while what comes through air and a capsule rings
for milliseconds: a hop with eight times the treble of the hops round it, half of which lies in
seven samples. In white noise seven of 480 hold a hundredth. A cable is one track's: what any
other track has within a hop, half as sudden, came through the air.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Measurement, Samples

STANDS_OUT: Final = 8.0
SHARE: Final = 0.5
WIDTH: Final = 3
"""Samples on each side of the step, at 48 kHz."""
ALIKE: Final = 0.5
"""Of both, on another track: through the air a click is never as steep as the next mic hears it."""
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
            share, step = _steepest(m, hop, track, width)
            if share > SHARE and step > LEAST and not _in_air(m, hop, track, usual[tick], width):
                count[tick, track] += 1
    return count


def _steepest(m: Measurement, hop: int, track: int, width: int) -> tuple[float, float]:
    """The largest step of a hop, and what share of all steps lies round it."""
    frames = len(m.samples) // len(m.valid)
    steps = np.square(np.diff(m.samples[hop * frames : (hop + 1) * frames, track]))
    top = int(steps.argmax())
    here = float(steps[max(top - width, 0) : top + width + 1].sum())
    return here / max(float(steps.sum()), 1e-30), float(np.sqrt(steps[top]))


def _in_air(m: Measurement, hop: int, track: int, usual: Samples, width: int) -> bool:
    """Whether any other track has something half as sudden within a hop."""
    near = slice(max(hop - 1, 0), hop + 2)
    out = m.difference_energy[near] > ALIKE * STANDS_OUT * usual
    out[:, track] = False
    for later, other in np.argwhere(out):
        if _steepest(m, near.start + int(later), int(other), width)[0] > ALIKE * SHARE:
            return True
    return False
