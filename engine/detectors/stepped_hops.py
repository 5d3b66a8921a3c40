"""Hops in which a contact may have opened: they hold a step far over the treble round it.

What is a plain function of the sound, for all ticks of a block at once; what it is `crackle` says.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np

from engine.detectors.base import quiet_ticks
from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of_each
from engine.model.messages import Condition, Fault, Flags, Levels, Samples
from engine.model.tracks import Scene

LOOKED_AT: Final = 0.5
"""A hop with a step of this share of the limit is looked at: behind a low-pass a step takes two
samples."""
_ROWS: Final = 32
"""So many ticks of a track are looked at together: they stay in the processor's cache."""


class LookedAt(NamedTuple):
    """What was made of one tick.

    looked_at : (hops, tracks) hops that are to be looked at closely; some : there are any
    calm : what is said where there is no pop
    """

    looked_at: Flags
    some: bool
    calm: Condition


class SteppedHops:
    """Finds them on the tracks of a scene.

    Parameters
    ----------
    scene : Scene
    least : (tracks,) least height of a pop, full scale 1.0
    outlier : float
        As of `Crackle`.
    """

    def __init__(self, scene: Scene, least: Levels, *, outlier: float) -> None:
        self._least = 0.5 * least  # behind a low-pass a step takes two samples
        self._outlier = outlier
        self._watched = scene.watched(Fault.CRACKLE)

    def of(self, block: TickBlock, last: Samples) -> Iterator[LookedAt]:
        """Those of each tick; `last` is the sample before the block, (tracks,)."""
        energy, valid = block.field("difference_energy"), block.field("valid")
        hops = energy.shape[1]
        frames = len(block.ticks[0].samples) / hops
        moved = (energy * frames >= np.square(self._least)) & valid & self._watched
        steps = self._highest_steps(moved, block, last)
        looked_at = moved & (np.square(steps) >= np.square(LOOKED_AT * self._outlier) * energy)
        looked_at &= steps >= self._least
        calm = quiet_ticks(block.field("any_valid") & self._watched)
        return map(LookedAt, looked_at, any_of_each(looked_at), calm)

    def _highest_steps(self, moved: Flags, block: TickBlock, last: Samples) -> Samples:
        """The highest step of each hop of the tracks that move, (ticks, hops, tracks)."""
        steps = np.zeros(moved.shape, dtype=np.float32)
        ticks, tracks = np.nonzero(moved.any(axis=1))
        if not len(ticks):
            return steps
        sound, hops = block.sound, moved.shape[1]
        before = np.concatenate([last[np.newaxis], sound[:-1, :, -1]])
        for first in range(0, len(ticks), _ROWS):
            at = ticks[first : first + _ROWS], tracks[first : first + _ROWS]
            x = sound[at]
            step = np.empty_like(x)
            np.subtract(x[:, 1:], x[:, :-1], out=step[:, 1:])
            np.subtract(x[:, 0], before[at], out=step[:, 0])
            steps[at[0], :, at[1]] = np.abs(step, out=step).reshape(len(x), hops, -1).max(axis=2)
        return steps
