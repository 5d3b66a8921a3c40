"""What of some ticks is a plain function of their samples: made at once, handed out by the tick."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.measure.decimate import Decimate
from engine.measure.first_difference import difference_energy
from engine.measure.level import Hops
from engine.measure.sibilance import Sibilance
from engine.model.flag_arrays import count_of
from engine.model.messages import Flags, Levels, Samples


@dataclass(frozen=True, slots=True, eq=False)
class TickParts:
    """Fields of `Measurement` for several ticks; each tick's part is in one piece in memory.

    peak_max, peak_min, peak_at, peak, mean_square, difference_energy, sibilance_energy, valid :
        (ticks, tracks, hops)
    power, treble, dc_offset : (ticks, tracks), means of each tick
    lost : (ticks, tracks)
    whole, any_valid : (ticks, tracks) every hop counts, any does
    decimated : (ticks, tracks, frames)
    """

    peak_max: Levels
    peak_min: Levels
    peak_at: NDArray[np.int64]
    peak: Levels
    mean_square: Levels
    difference_energy: Samples
    sibilance_energy: Samples
    valid: Flags
    power: Levels
    treble: Samples
    dc_offset: Levels
    lost: NDArray[np.int64]
    whole: Flags
    any_valid: Flags
    decimated: Samples

    @classmethod
    def of(
        cls,
        hops: Hops,
        mean_square: Levels,
        decimate: Decimate,
        lag: int,
        sibilance: Sibilance,
    ) -> TickParts:
        """Those of some hops; `lag` is that of the first difference."""
        high, low = _ticks_first(hops, hops.peak_max), _ticks_first(hops, hops.peak_min)
        valid, square = _ticks_first(hops, hops.valid), _ticks_first(hops, mean_square)
        treble = difference_energy(hops.channels, hops.valid.shape[1], lag, hops.ticks)
        energy = _ticks_first(hops, treble)
        sibilants = sibilance(hops.channels, hops.valid.shape[1], hops.ticks)
        number = count_of(valid, axis=2)
        sums = _ticks_first(hops, hops.sums)
        return cls(
            peak_max=high,
            peak_min=low,
            peak_at=_ticks_first(hops, hops.peak_at),
            peak=np.maximum(high, -low),
            mean_square=square,
            difference_energy=energy,
            sibilance_energy=_ticks_first(hops, sibilants),
            valid=valid,
            power=square.mean(axis=2),
            treble=energy.mean(axis=2),
            dc_offset=(sums * valid).sum(axis=2) / np.maximum(hops.hop_frames * number, 1),
            lost=_ticks_first(hops, hops.lost).sum(axis=2),
            whole=number == valid.shape[2],
            any_valid=number > 0,
            decimated=_ticks_first(hops, decimate(hops.channels)),
        )

    def of_tick(self, tick: int) -> dict[str, Any]:
        """The fields of one of the ticks, by their names in `Measurement`."""
        whole = self.whole[tick]
        return {
            "peak_max": self.peak_max[tick].T,
            "peak_min": self.peak_min[tick].T,
            "peak_at": self.peak_at[tick].T,
            "peak": self.peak[tick].T,
            "mean_square": self.mean_square[tick].T,
            "difference_energy": self.difference_energy[tick].T,
            "sibilance_energy": self.sibilance_energy[tick].T,
            "valid": self.valid[tick].T,
            "dc_offset": self.dc_offset[tick],
            "lost": self.lost[tick],
            "any_valid": self.any_valid[tick],
            "all_valid": bool(whole.all()),
            "decimated": self.decimated[tick],
        }


def _ticks_first(hops: Hops, values: NDArray[Any]) -> NDArray[Any]:
    """An array of shape (tracks, values) as (ticks, tracks, values of a tick), in one piece."""
    return np.ascontiguousarray(hops.by_tick(values).swapaxes(0, 1))
