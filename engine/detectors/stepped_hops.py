"""Hops in which a contact may have opened: their treble stands far over that of those around.

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

BEFORE_HOPS: Final = 3
LOOKED_AT: Final = 0.6
"""A hop with a step of this share of the limit is looked at: behind a low-pass a step takes two
samples."""
SUDDEN_ENERGY: Final = 100.0
"""So is one whose steps have so many times the energy of all three hops before (20 dB): where pops
go on, the hops round them are no fainter."""
_ROWS: Final = 32
"""So many ticks of a track are looked at together: they stay in the processor's cache."""


class LookedAt(NamedTuple):
    """What was made of one tick.

    known : treble of the hops before it and of its own, (BEFORE_HOPS + hops, tracks)
    middle : (tracks,) of its middle hop; out : (hops, tracks) so far over that
    looked_at : (hops, tracks) hops that are to be looked at closely; some : there are any
    calm : what is said where there is no pop
    """

    known: Levels
    middle: Levels
    out: Flags
    looked_at: Flags
    some: bool
    calm: Condition


class SteppedHops:
    """Finds them on the tracks of a scene.

    Parameters
    ----------
    scene : Scene
    least : (tracks,) least step, full scale 1.0
    paired : (tracks,) packs of a performer who has two
    stands_out, outlier : float
        As of `Crackle`.
    """

    def __init__(
        self, scene: Scene, least: Levels, paired: Flags, *, stands_out: float, outlier: float
    ) -> None:
        self._least, self._paired = least, paired
        self._stands_out, self._outlier = stands_out, outlier
        self._watched = scene.watched(Fault.CRACKLE)

    def of(self, block: TickBlock, energy_before: Levels, last: Samples) -> Iterator[LookedAt]:
        """Those of each tick.

        `energy_before` is the treble of the hops before the block, (BEFORE_HOPS, tracks), `last`
        the sample before it, (tracks,).
        """
        energy, valid = block.field("difference_energy"), block.field("valid")
        ticks, hops = energy.shape[:2]
        middle = np.sort(energy, axis=1)[:, hops // 2]
        out = (energy >= self._stands_out * middle[:, None]) & (middle > 0.0)[:, None] & valid
        known = np.concatenate([energy_before, energy.reshape(ticks * hops, -1)])
        before = np.maximum(np.maximum(known[:-3], known[1:-2]), known[2:-1]).reshape(energy.shape)
        looked_at = out | (energy > SUDDEN_ENERGY * before)
        looked_at |= self._steps_out(middle, block, last)
        looked_at &= self._watched & valid
        calm = quiet_ticks(block.field("any_valid") & self._watched)
        stretches = (known[hops * n : hops * (n + 1) + BEFORE_HOPS] for n in range(ticks))
        return map(LookedAt, stretches, middle, out, looked_at, any_of_each(looked_at), calm)

    def _steps_out(self, middle: Levels, block: TickBlock, last: Samples) -> Flags:
        """Hops of packs in pairs with a step far over the tick's others, (ticks, hops, tracks):
        amid words or rain one sample hardly shows in the energy of a hop. Of other tracks nobody is
        so near that a spark beside them would be heard amid that as well."""
        moved = block.field("peak_max") - block.field("peak_min") >= self._least
        moved &= self._paired & self._watched
        out = np.zeros(moved.shape, dtype=np.bool_)
        ticks, tracks = moved.any(axis=1).nonzero()
        if not len(ticks):
            return out
        sound, hops = block.sound, moved.shape[1]
        before = np.concatenate([last[np.newaxis], sound[:-1, :, -1]])
        limit = np.square(LOOKED_AT * self._outlier) * middle
        for first in range(0, len(ticks), _ROWS):
            at = ticks[first : first + _ROWS], tracks[first : first + _ROWS]
            x = sound[at]
            step = np.empty_like(x)
            np.subtract(x[:, 1:], x[:, :-1], out=step[:, 1:])
            np.subtract(x[:, 0], before[at], out=step[:, 0])
            highest = np.abs(step, out=step).reshape(len(x), hops, -1).max(axis=2)
            out[at[0], :, at[1]] = np.square(highest) >= limit[at][:, np.newaxis]
        return np.asarray(out & moved)
