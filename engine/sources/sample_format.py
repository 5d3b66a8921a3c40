"""How a WAV file stores samples, and how they become float32: one place for each format.

Source: Microsoft's WAVE format tags, as RFC 2361 lists them.
"""

from __future__ import annotations

from typing import BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples

PCM: Final = 1
FLOAT: Final = 3
_BYTES_PER_SAMPLE: Final = {PCM: (1, 2, 3, 4), FLOAT: (4, 8)}

_STRIP_BYTES: Final = 1 << 17
"""Bytes decoded at a time: small enough to stay in the processor's cache."""


def bytes_per_sample(tag: int, bits: int) -> int:
    """Of that format tag at that depth; ValueError where it is another format than those here."""
    width = (bits + 7) // 8
    if width not in _BYTES_PER_SAMPLE.get(tag, ()):
        raise ValueError("is not stored as PCM of 8, 16, 24 or 32 bits or as float: convert it")
    return width


class SampleDecoder:
    """Interleaved little-endian samples to float32 rows, a strip at a time.

    Full scale is 2^(bits−1), as libsndfile has it; 8-bit WAV is unsigned.
    """

    def __init__(self, channels: int, frame_bytes: int, is_float: bool) -> None:
        width = frame_bytes // channels
        self._frame_bytes = frame_bytes
        self.strip_frames = max(1, _STRIP_BYTES // frame_bytes)
        shape = (self.strip_frames, channels)
        # 24-bit samples are looked at as 32-bit ones that begin a byte early: that byte, cleared
        # below, belongs to the sample before, and one byte is kept free before the first.
        self._packed = width == 3
        stored = "<f" if is_float else "|u" if width == 1 else "<i"
        dtype = np.dtype(f"{stored}{4 if self._packed else width}")
        self._lead = 1 if self._packed else 0
        self._bytes = bytearray(self._lead + self.strip_frames * frame_bytes)
        self._stored: NDArray[np.generic] = np.ndarray(
            shape, dtype, self._bytes, strides=(frame_bytes, width)
        )
        self._offset = np.float32(128.0 if width == 1 else 0.0)
        bits = 32 if self._packed else 8 * width
        self._scale = np.float32(1.0 if is_float else 2.0 ** (1 - bits))

    def fill(self, file: BinaryIO, rows: Samples) -> bool:
        """Decode into `rows`, shape (channels, frames); False where the file ends before."""
        frames = rows.shape[1]
        wanted = memoryview(self._bytes)[self._lead : self._lead + frames * self._frame_bytes]
        while wanted:
            got: int = file.readinto(wanted)  # type: ignore[attr-defined]
            if not got:
                return False
            wanted = wanted[got:]
        stored = self._stored[:frames].T
        if self._packed:  # in passes of one kind each: numpy is quicker so, all in the cache
            stored = np.array(stored, order="C")
            np.bitwise_and(stored, -256, out=stored)
        # A double beyond float32's range becomes infinity, which the meter reports.
        with np.errstate(over="ignore", invalid="ignore"):
            np.copyto(rows, stored, casting="unsafe")
        if self._offset:
            np.subtract(rows, self._offset, out=rows)
        if self._scale != 1.0:
            np.multiply(rows, self._scale, out=rows)
        return True
