"""Several ticks looked at together, where a fault takes seconds anyway: saves most of the work."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from engine.model.messages import Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By, TrackRemap


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Ticks that follow each other without a break.

    mean_square, valid : (hops, tracks) as in `Measurement`
    ticks : how many they are; each has hops / ticks hops
    floor_dbfs : (tracks,) at the end
    """

    start_s: float
    end_s: float
    hop_s: float
    ticks: int
    mean_square: Levels
    valid: Flags
    floor_dbfs: Levels

    def moved(self, remap: TrackRemap) -> Stretch:
        """The same of the tracks as remapped."""
        return replace(
            self,
            mean_square=remap.last(self.mean_square, 0.0),
            valid=remap.last(self.valid, False),
            floor_dbfs=remap.first(self.floor_dbfs, np.nan),
        )

    def by_tick(self, hops: Levels) -> Levels:
        """Sums over each tick of an array of shape (hops, tracks): (ticks, tracks)."""
        return np.asarray(hops.reshape(self.ticks, -1, hops.shape[1]).sum(axis=1))


class TickGroup(TrackMemory):
    """Holds ticks back until there are `ticks` of them, or the stream skipped some time."""

    _held: list[Stretch] = remembered(By.EACH, lambda _: [])

    def __init__(self, ticks: int) -> None:
        self._ticks = ticks
        self.reset()

    def add(self, m: Measurement) -> list[Stretch]:
        """Take in one tick; returns the stretches that are complete now, mostly none."""
        done = []
        if self._held and m.start_s > self._held[-1].end_s + m.hop_s / 2.0:
            done.append(self._join())
        self._held.append(
            Stretch(m.start_s, m.end_s, m.hop_s, 1, m.mean_square, m.valid, m.floor_dbfs)
        )
        if len(self._held) >= self._ticks:
            done.append(self._join())
        return done

    def _join(self) -> Stretch:
        held, self._held = self._held, []
        return Stretch(
            held[0].start_s,
            held[-1].end_s,
            held[0].hop_s,
            len(held),
            np.concatenate([m.mean_square for m in held]),
            np.concatenate([m.valid for m in held]),
            held[-1].floor_dbfs,
        )
