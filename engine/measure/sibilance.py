"""The energy of what lies about 2 to 8 kHz, where sibilants do: what cloth takes first.

The sound is averaged over a twelfth of a millisecond, and of these means the second difference is
taken: means over 4 samples at 48 kHz fall off to nothing at 12 kHz, (2 sin(w/2))² of a second
difference rises by 12 dB an octave up to 6 kHz (arithmetic). What folds over is sound as well: only
its energy counts.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Samples
from engine.model.tracks import Scene
from engine.model.units import hop_frames, nearest_divisor

MEANS_HZ: Final = 12_000


class Sibilance:
    """Measures it on the two packs of each `who`, which are compared by it."""

    def __init__(self, scene: Scene) -> None:
        frames = hop_frames(scene.sample_rate_hz)
        self._size = nearest_divisor(frames, scene.sample_rate_hz / MEANS_HZ)
        self._mean = np.full(self._size, 1.0 / self._size, dtype=np.float32)
        self._packs = sorted(index for pair in scene.pairs() for index in pair)

    def __call__(self, channels: Samples, hops: int, ticks: int = 1) -> Samples:
        """Mean square of the second difference over each hop, shape (tracks, hops); 0 on tracks
        that are no pack of a pair.

        `channels` has shape (tracks, frames), of `hops` hops in all, which are `ticks` ticks. The
        first two means of each tick count as none.
        """
        energy = np.zeros((len(channels), hops), dtype=np.float32)
        if not self._packs:
            return energy
        means = channels[self._packs].reshape(len(self._packs), -1, self._size) @ self._mean
        step = means[:, 1:] - means[:, :-1]
        bend = np.zeros_like(means)
        np.subtract(step[:, 1:], step[:, :-1], out=bend[:, 2:])
        bend.reshape(len(bend), ticks, -1)[:, :, :2] = 0.0
        by_hop = bend.reshape(len(bend), hops, -1)
        energy[self._packs] = np.vecdot(by_hop, by_hop) * np.float32(1.0 / by_hop.shape[-1])
        return energy
