"""Sound in 8 bits a sample and a step for each few milliseconds: block floating point.

The step is the smallest with which the loudest sample of its block fits, so what peaks below
-48 dBFS (hiss, hum, a room) is kept exactly as its 16 bits are; the error of what is louder is at
most half a step, 1/255 of the block's peak or 48 dB below it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

BLOCK: Final = 192
"""Samples that share a step, 4 ms at 48 kHz: what an attack adds to the error begins no earlier
before it. Masking reaches back some 20 ms (Fastl and Zwicker, Psychoacoustics, chapter on temporal
effects; from memory)."""
BYTES_A_BLOCK: Final = BLOCK + 1

_STEPS: Final = np.repeat(np.arange(9, dtype=np.uint8), [2**7, *(2 ** np.arange(7, 15))])
"""Bits to leave out, by a block's peak: none below 2**7, and one more each time it doubles."""


class BlockFloat:
    """The newest blocks of some rows, addressed by the number of the block since the start."""

    def __init__(self, rows: int, blocks: int) -> None:
        self.blocks = blocks
        self._parts: NDArray[np.int8] = np.zeros((rows, blocks, BLOCK), dtype=np.int8)
        self._steps: NDArray[np.uint8] = np.zeros((rows, blocks), dtype=np.uint8)

    @property
    def nbytes(self) -> int:
        """What it takes, in bytes."""
        return self._parts.nbytes + self._steps.nbytes

    def put(self, values: NDArray[np.int16], first: int) -> None:
        """Take in whole blocks of all rows, shape (rows, blocks, BLOCK), from that number on.

        No value is -32768.
        """
        steps = _STEPS[np.abs(values).max(axis=2)]
        parts = np.right_shift(values, steps[:, :, None], dtype=np.int16).astype(np.int8)
        count = values.shape[1]
        at = first % self.blocks
        until_wrap = min(count, self.blocks - at)
        for kept, fresh in ((self._parts, parts), (self._steps, steps)):
            kept[:, at : at + until_wrap] = fresh[:, :until_wrap]
            kept[:, : count - until_wrap] = fresh[:, until_wrap:]

    def read(self, row: int, start: int, count: int) -> NDArray[np.int16]:
        """Samples of one row from that frame on, shape (count,)."""
        first, end = start // BLOCK, -(-(start + count) // BLOCK)
        at = np.arange(first, end) % self.blocks
        steps = self._steps[row, at].astype(np.int16)[:, None]
        half = np.left_shift(np.int16(1), steps) >> 1  # in the middle of what was left out
        values = np.left_shift(self._parts[row, at].astype(np.int16), steps) + half
        begin = start - first * BLOCK
        made: NDArray[np.int16] = values.reshape(-1)[begin : begin + count]
        return made

    def copy_row(self, row: int, other: BlockFloat, other_row: int, first: int, end: int) -> None:
        """Take over blocks of another one's row, as they are."""
        block = max(first, end - self.blocks)
        while block < end:  # in pieces that wrap in neither
            here, there = block % self.blocks, block % other.blocks
            count = min(end - block, self.blocks - here, other.blocks - there)
            for mine, its in ((self._parts, other._parts), (self._steps, other._steps)):
                mine[row, here : here + count] = its[other_row, there : there + count]
            block += count
