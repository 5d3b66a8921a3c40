"""Looks for timecode on the tracks of a live input, whatever they are planned as."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Samples
from engine.timecode.code_search import SPOT_S, channels_with_code

FIRST_S: Final = 0.35
"""The first spot lies at the very begin and is short: eight frames, before much can be alarmed."""

EVERY_S: Final = 10.0
"""Code may come late, with the recorder's first take: looked for this often."""


class CodeFinder:
    """Keeps some sound now and then, and names the channels that carry code in it."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._until_spot = 0
        self._spot: list[Samples] = []
        self._wanted = round(FIRST_S * sample_rate_hz)

    def take_in(self, samples: Samples) -> tuple[int, ...]:
        """Channels, from 1, with code; mostly none, for mostly nothing is looked at.

        samples : (frames, channels); what was lost is not among them
        """
        skipped = min(self._until_spot, len(samples))
        self._until_spot -= skipped
        samples = samples[skipped:]
        if not len(samples):
            return ()
        self._spot.append(samples.copy())
        if sum(map(len, self._spot)) < self._wanted:
            return ()
        spot, self._spot = np.concatenate(self._spot), []
        self._wanted = round(SPOT_S * self._rate_hz)
        self._until_spot = round((EVERY_S - SPOT_S) * self._rate_hz)
        return channels_with_code([spot], self._rate_hz)
