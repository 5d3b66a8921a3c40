"""A source made from an array, for benchmarks, rehearsals and tests."""

from __future__ import annotations

import numpy as np

from engine.model.messages import Block, Samples
from engine.sources.base import EndOfTake, SourceInfo


class ArraySource:
    """Blocks of `block_frames` cut from `samples`, shape (frames, channels).

    `names` are the channels' names; '' where not given. Never waits: pacing is the runner's.
    """

    def __init__(
        self,
        samples: Samples,
        sample_rate_hz: int,
        block_frames: int = 4800,
        names: tuple[str, ...] = (),
    ) -> None:
        if samples.ndim != 2 or block_frames < 1:
            raise ValueError("samples need the shape (frames, channels), blocks at least one frame")
        frames, channels = samples.shape
        self._by_channel = np.ascontiguousarray(samples.T, dtype=np.float32)
        self._block_frames = block_frames
        self._place = 0
        self.info = SourceInfo(
            name="array",
            sample_rate_hz=sample_rate_hz,
            channels=channels,
            channel_names=names or ("",) * channels,
            frames=frames,
        )

    def read(self, timeout_s: float) -> Block:
        """The next block; EndOfTake after the last."""
        end = min(self._place + self._block_frames, self._by_channel.shape[1])
        if self._place == end:
            raise EndOfTake
        block = Block(self._by_channel[:, self._place : end].T)
        self._place = end
        return block

    def close(self) -> None:
        """Nothing to let go of."""
