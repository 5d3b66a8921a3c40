"""The few tracks that show clock slips best, filtered for several ticks at once."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.slip_filters import SIDE, TAPS, SlipFilters
from engine.measure.tick_block import TickBlock
from engine.model.messages import Measurement, Samples

FIRST_TRACKS: Final = 6
"""So many tracks, those that show slips best, raise a suspicion, which spares most of the work."""
CAP: Final = 6.0
"""One track speaks for this many deviations at most."""


class FilteredTick(NamedTuple):
    """What comes out of the first tracks of one tick, from `TAPS` frames before it on.

    asked : the array they are the first of; rows : which tracks they are, of the candidates
    sizes : (rows, frames) over what is usual in each hop; mean : (frames,) of all rows
    """

    tick: Measurement
    asked: NDArray[np.int64]
    rows: NDArray[np.int64]
    sizes: Samples
    mean: Samples


class FirstTracks:
    """Filters them by what was learned of the candidates, up to the tick that teaches anew."""

    def __init__(self, filters: SlipFilters, candidates: NDArray[np.int64]) -> None:
        """Nothing is known of any tick."""
        self._filters, self._candidates = filters, candidates
        self._coming: deque[Measurement] = deque()
        self._made: deque[FilteredTick] = deque()

    def look_ahead(self, block: TickBlock) -> None:
        """The ticks that are asked about next."""
        self._coming = deque(block.ticks)
        self._made.clear()

    def forget(self) -> None:
        """The filters are others now."""
        self._made.clear()

    def of(self, before: Samples, m: Measurement, rows: NDArray[np.int64]) -> FilteredTick:
        """The first of those tracks in this tick, filtered; made for the ticks to come as well, up
        to the one after which the filters are others."""
        first = rows[:FIRST_TRACKS]
        while self._made:
            made = self._made.popleft()
            if made.tick is m and (made.asked is rows or np.array_equal(made.rows, first)):
                return made
        while self._coming and self._coming[0] is not m:
            self._coming.popleft()
        ticks, learning = [m], self._filters.turns_left
        for tick in islice(self._coming, 1, None):
            learning -= ticks[-1].all_valid and not ticks[-1].repeats
            if not learning:
                break
            ticks.append(tick)
        tracks = self._candidates[first]
        sound = [tick.samples.T[tracks] for tick in ticks]
        sound[-1] = sound[-1][:, : SIDE - TAPS - 1]  # the last few are left to the next tick
        x = np.concatenate([before[tracks, -TAPS - SIDE :], *sound], axis=1)
        self._made.extend(self._filtered(ticks, rows, x))
        return self._made.popleft()

    def _filtered(
        self, ticks: Sequence[Measurement], rows: NDArray[np.int64], x: Samples
    ) -> Iterator[FilteredTick]:
        """Each tick's part of what comes out of the first of those tracks."""
        first = rows[:FIRST_TRACKS]
        sizes = np.empty((len(first), x.shape[1] - TAPS + 1), dtype=np.float32)
        mean, capped = np.empty((2, sizes.shape[1]), dtype=np.float32)
        # Row by row, which stays in the cache.
        for n, (sound, taps) in enumerate(zip(x, self._filters.taps[first], strict=True)):
            np.abs(np.correlate(sound, taps, "valid"), out=sizes[n])
            by_hop = sizes[n].reshape(len(ticks) * len(ticks[0].valid), -1)
            energy = np.vecdot(by_hop, by_hop) / np.float32(by_hop.shape[1])
            by_hop *= (1.0 / np.sqrt(np.maximum(energy, 1e-30)))[:, None]
            np.minimum(sizes[n], CAP, out=capped if n else mean)
            if n:
                mean += capped
        mean /= np.float32(len(first))
        frames = sizes.shape[1] // len(ticks)
        for n, tick in enumerate(ticks):
            span = slice(n * frames, (n + 1) * frames)
            yield FilteredTick(tick, rows, first, sizes[:, span], mean[span])
