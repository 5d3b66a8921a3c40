"""Looks for timecode on the tracks of a live input, whatever they are planned as."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples
from engine.timecode.code_search import channels_with_code, flat_channels

SPOT_S: Final = 0.35
"""Length of one look: eight frames, so that code shows within twice this, before much is alarmed.
Looks follow each other without a gap: code may come late, with the recorder's first take."""

MOST_IN_VAIN: Final = 2
"""The first look at code may hold its begin alone, the second is full of it."""

AGAIN_S: Final = 2.0
"""A channel that looks like code but has none, as a tone, is read anew this often."""


class CodeFinder:
    """Keeps some sound, and names the channels that carry code in it."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._wanted = round(SPOT_S * sample_rate_hz)
        self._spot: Samples = np.zeros((0, self._wanted), dtype=np.float32)
        self._filled = 0
        self._in_vain: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._looks = 0

    def take_in(self, samples: Samples) -> tuple[int, ...]:
        """Channels, from 1, with code in a look that ends here; mostly none.

        samples : (frames, channels); what was lost is not among them
        """
        found: set[int] = set()
        if len(self._spot) != samples.shape[1]:
            self._spot = np.zeros((samples.shape[1], self._wanted), dtype=np.float32)
            self._filled = 0
        while len(samples):
            part = samples[: self._wanted - self._filled]
            self._spot[:, self._filled : self._filled + len(part)] = part.T
            self._filled += len(part)
            samples = samples[len(part) :]
            if self._filled == self._wanted:
                found.update(self._look(self._spot.T))
                self._filled = 0
        return tuple(sorted(found))

    def _look(self, spot: Samples) -> list[int]:
        if len(self._in_vain) != spot.shape[1] or self._looks * SPOT_S >= AGAIN_S:
            self._in_vain = np.zeros(spot.shape[1], dtype=np.int64)
            self._looks = 0
        self._looks += 1
        maybe = [i for i in flat_channels(spot).tolist() if self._in_vain[i] < MOST_IN_VAIN]
        if not maybe:
            return []
        found = channels_with_code([spot[:, maybe]], self._rate_hz)
        self._in_vain[maybe] += 1
        return [maybe[number - 1] + 1 for number in found]
