"""The last minute of every track, in memory that is set aside once and does not grow.

Kept as 16-bit integers: for listening their noise, near -98 dBFS, lies under any microphone's.
Where a minute of that takes too much memory (18 tracks at 48 kHz and more), only the newest second
is: live sound always comes from there. What is older has 8 bits and a step for each few
milliseconds, see `block_float`, which lasts nearly twice as long.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.listen.block_float import BLOCK, BYTES_A_BLOCK, BlockFloat
from engine.model.messages import Samples

SECONDS: Final = 60.0
MOST_BYTES: Final = 96 * 2**20
"""What the ring may take at most; more or faster tracks make it coarser, then shorter, never
larger."""
NEWEST_S: Final = 1.0
"""Longer than live sound may lag, see `mix.MOST_LAG_S`."""

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
        rows, frames = max(len(self.inputs), 1), max(1, round(seconds * sample_rate_hz))
        self._older: BlockFloat | None = None
        self._fine = self.capacity = frames
        if 2 * rows * frames > most_bytes:
            room = most_bytes // rows
            newest = min(NEWEST_S * sample_rate_hz, room / 4)
            self._fine = BLOCK * max(2, round(newest / BLOCK))
            blocks = max(2, (room - 2 * self._fine) // BYTES_A_BLOCK)
            self._older = BlockFloat(len(self.inputs), min(blocks, -(-frames // BLOCK)))
            self.capacity = min(frames, self._older.blocks * BLOCK)
        self.end = self.first = start_frame
        self._whole_blocks = start_frame // BLOCK
        self._row = {number: row for row, number in enumerate(self.inputs)}
        self._channels = np.array(self.inputs, dtype=np.int64) - 1
        self._kept: NDArray[np.int16] = np.zeros((len(self.inputs), self._fine), dtype=np.int16)

    @property
    def seconds(self) -> float:
        """How much it can hold, s; less than a minute where that would take too much memory."""
        return self.capacity / self.sample_rate_hz

    @property
    def nbytes(self) -> int:
        """The memory it takes."""
        return self._kept.nbytes + (0 if self._older is None else self._older.nbytes)

    @property
    def oldest(self) -> int:
        """The first stream frame that can still be heard."""
        return max(self.first, self.end - self.capacity)

    def holds(self, track: int) -> bool:
        """That input is kept."""
        return track in self._row

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
        """Take in values that end there, in pieces that the newest part has room for beside a
        block that is not whole yet."""
        count = values.shape[1]
        piece = self._fine if self._older is None else self._fine - BLOCK
        for begin in range(0, count, piece):
            part = values[:, begin : begin + piece]
            self._write_piece(part, end_frame - count + begin + part.shape[1])

    def _write_piece(self, values: NDArray[np.int16], end_frame: int) -> None:
        begin = end_frame - values.shape[1]
        self._put_newest(values, begin)
        if self._older is not None:
            if begin != self.end:
                self._whole_blocks = begin // BLOCK
            self._keep_blocks(self._older, end_frame // BLOCK)
        self.end = end_frame

    def _put_newest(self, values: NDArray[np.int16], begin: int) -> None:
        count, at = values.shape[1], begin % self._fine
        until_wrap = min(count, self._fine - at)
        self._kept[:, at : at + until_wrap] = values[:, :until_wrap]
        self._kept[:, : count - until_wrap] = values[:, until_wrap:]

    def _keep_blocks(self, older: BlockFloat, whole: int) -> None:
        """Keep what has become whole blocks; the newest part holds a whole number of them."""
        blocks, first = self._kept.reshape(len(self.inputs), -1, BLOCK), self._whole_blocks
        while first < whole:
            at = first % blocks.shape[1]
            count = min(whole - first, blocks.shape[1] - at)
            older.put(blocks[:, at : at + count], first)
            first += count
        self._whole_blocks = whole

    def read(self, track: int, start: int, count: int) -> NDArray[np.float32]:
        """That input from a stream frame on, shape (count,); silence where nothing is kept."""
        out = np.zeros(count, dtype=np.float32)
        begin, end = max(start, self.oldest), min(start + count, self.end)
        if begin >= end or track not in self._row:
            return out
        out[begin - start : end - start] = self._values(self._row[track], begin, end)
        out /= SCALE
        return out

    def _values(self, row: int, begin: int, end: int) -> NDArray[np.int16]:
        """What one row holds between two frames, both of which are held."""
        newest = begin if self._older is None else min(max(begin, self.end - self._fine), end)
        at, count = newest % self._fine, end - newest
        until_wrap = min(count, self._fine - at)
        kept = self._kept[row]
        parts = [kept[at : at + until_wrap], kept[: count - until_wrap]]
        if self._older is not None and begin < newest:
            parts.insert(0, self._older.read(row, begin, newest - begin))
        return np.concatenate(parts)

    def with_inputs(self, inputs: Sequence[int]) -> Ring:
        """A ring of other inputs that goes on from here; inputs in both keep what was kept."""
        fresh = Ring(inputs, self.sample_rate_hz, self.oldest)
        stay = [(n, self._row[i]) for n, i in enumerate(fresh.inputs) if i in self._row]
        begin = max(self.oldest, self.end - fresh.capacity)
        as_it_is = self._older is not None and fresh._older is not None
        if self._older is not None and fresh._older is not None:  # else all would be worked out
            first, whole = begin // BLOCK, self._whole_blocks
            for row, old in stay:
                fresh._older.copy_row(row, self._older, old, first, whole)
            fresh._whole_blocks = whole
            begin = max(begin, self.end - min(self._fine, fresh._fine))
        piece = fresh._fine - BLOCK if fresh._older is not None else fresh._fine
        for start in range(begin, self.end, piece):
            end = min(start + piece, self.end)
            values = np.zeros((len(fresh.inputs), end - start), dtype=np.int16)
            for row, old in stay:
                values[row] = self._values(old, start, end)
            if as_it_is:
                fresh._put_newest(values, start)
            else:
                fresh._write(values, end)
        fresh.end = self.end
        return fresh
