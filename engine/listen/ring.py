"""The last minute of every track, in memory that is set aside once and does not grow.

Kept as 16-bit integers: for listening their noise, near -98 dBFS, lies under any microphone's,
and a minute of 64 tracks takes half the memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples

SECONDS: Final = 60.0
MOST_BYTES: Final = 256 * 2**20
"""What the ring may take at most; more or faster tracks make it shorter, never larger."""

SCALE: Final = 32767.0


class Ring:
    """The newest audio of some inputs, addressed by stream frame (frames since the watch began).

    One thread writes, any other may read; a read waits for nothing.

    Parameters
    ----------
    inputs : sequence of int
        Input numbers from 1, each the channel of that number in what is put in.
    sample_rate_hz : int
    start_frame : int
        Stream frame of the first sample to come.
    """

    def __init__(
        self,
        inputs: Sequence[int],
        sample_rate_hz: int,
        start_frame: int = 0,
        seconds: float = SECONDS,
        most_bytes: int = MOST_BYTES,
    ) -> None:
        self.inputs = tuple(inputs)
        self.sample_rate_hz = sample_rate_hz
        fits = most_bytes // (2 * max(len(self.inputs), 1))
        self.capacity = max(1, min(round(seconds * sample_rate_hz), fits))
        self.end = self.first = start_frame
        self._place = {number: place for place, number in enumerate(self.inputs)}
        self._channels = np.array(self.inputs, dtype=np.int64) - 1
        self._kept: NDArray[np.int16] = np.zeros((len(self.inputs), self.capacity), dtype=np.int16)

    @property
    def seconds(self) -> float:
        """How much it can hold, s; less than a minute where that would take too much memory."""
        return self.capacity / self.sample_rate_hz

    @property
    def oldest(self) -> int:
        """The first stream frame that can still be heard."""
        return max(self.first, self.end - self.capacity)

    def holds(self, track: int) -> bool:
        """That input is kept."""
        return track in self._place

    def put(self, samples: Samples, end_frame: int) -> None:
        """Take in audio that ends at that stream frame; what lies between is a gap of silence.

        `samples` has shape (frames, channels of the source).
        """
        gap = min(end_frame - len(samples) - self.end, self.capacity)
        if gap > 0:
            self._write(np.zeros((len(self.inputs), gap), dtype=np.int16), end_frame - len(samples))
        newest = samples[-self.capacity :, :].T[self._channels]  # a copy, changed in place
        np.clip(newest, -1.0, 1.0, out=newest)
        with np.errstate(invalid="ignore"):  # some NaNs signal when they are added
            broken = np.isnan(newest.sum())
        if broken:
            np.nan_to_num(newest, copy=False, nan=0.0)
        np.multiply(newest, SCALE, out=newest)
        self._write(np.rint(newest, out=newest).astype(np.int16), end_frame)

    def _write(self, values: NDArray[np.int16], end_frame: int) -> None:
        count = values.shape[1]
        at = (end_frame - count) % self.capacity
        until_wrap = min(count, self.capacity - at)
        self._kept[:, at : at + until_wrap] = values[:, :until_wrap]
        self._kept[:, : count - until_wrap] = values[:, until_wrap:]
        self.end = end_frame

    def read(self, track: int, start: int, count: int) -> NDArray[np.float32]:
        """That input from a stream frame on, shape (count,); silence where nothing is kept."""
        out = np.zeros(count, dtype=np.float32)
        begin, end = max(start, self.oldest), min(start + count, self.end)
        if begin >= end or track not in self._place:
            return out
        row = self._kept[self._place[track]]
        at = begin % self.capacity
        until_wrap = min(end - begin, self.capacity - at)
        here = out[begin - start : end - start]
        here[:until_wrap] = row[at : at + until_wrap]
        here[until_wrap:] = row[: end - begin - until_wrap]
        here /= SCALE
        return out

    def with_inputs(self, inputs: Sequence[int]) -> Ring:
        """A ring of other inputs that goes on from here; inputs in both keep what was kept."""
        fresh = Ring(inputs, self.sample_rate_hz, self.oldest)
        stay = [(n, self._place[i]) for n, i in enumerate(fresh.inputs) if i in self._place]
        frame = max(self.oldest, self.end - fresh.capacity)
        while frame < self.end:  # in pieces that wrap in neither ring
            here, there = frame % self.capacity, frame % fresh.capacity
            count = min(self.end - frame, self.capacity - here, fresh.capacity - there)
            for new, old in stay:
                fresh._kept[new, there : there + count] = self._kept[old, here : here + count]
            frame += count
        fresh.end = self.end
        return fresh
