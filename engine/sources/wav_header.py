"""A WAV file's header, walked within fixed bounds: where the audio lies and how much is there.

No size in the file is trusted: chunks are skipped by seeking, and of those kept no more than
`MAX_TEXT_BYTES` is read. The layout follows EBU Tech 3285 (BWF) and EBU Tech 3306 / ITU-R BS.2088
(RF64, BW64).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO, Final

from engine.sources.sample_format import FLOAT, bytes_per_sample

MAX_TEXT_BYTES: Final = 1 << 20
"""Longest bext or iXML chunk read; recorders write some kilobytes."""
MAX_CHUNKS: Final = 1000
MAX_CHANNELS: Final = 512
"""Tracks of a take: several times any recorder's, and watched in less than 500 MB."""
RATES_HZ: Final = (8_000, 768_000)

_SPOTS: Final = 64
_SPOT_BYTES: Final = 1 << 16

_UNSET: Final = 0xFFFFFFFF
_EXTENSIBLE: Final = 0xFFFE
_KEPT: Final = {b"fmt ": 64, b"ds64": 28, b"bext": MAX_TEXT_BYTES, b"iXML": MAX_TEXT_BYTES}


@dataclass(frozen=True, slots=True)
class WavHeader:
    """Where the audio of one WAV file lies.

    unfinished : the file was never closed by its recorder, so `data_bytes` is what is on disk
    zero_bytes : zeros after the audio's stated end, which are no audio
    end : where the last chunk ends; names : those of all chunks
    chunks : the small chunks by their four letters
    """

    channels: int
    sample_rate_hz: int
    frame_bytes: int
    is_float: bool
    data_offset: int
    data_bytes: int
    unfinished: bool
    zero_bytes: int
    end: int
    names: frozenset[bytes]
    chunks: dict[bytes, bytes] = field(repr=False)

    @property
    def frames(self) -> int:
        """Whole frames of audio."""
        return self.data_bytes // self.frame_bytes


@dataclass(slots=True)
class _Layout:
    """What the walk met: the kept chunks, the data chunk, and whether sense ended after it."""

    chunks: dict[bytes, bytes]
    data_offset: int | None = None
    data_bytes: int = 0
    goes_on: bool = False
    zero_bytes: int = 0
    end: int = 0
    names: set[bytes] = field(default_factory=set)


def read_wav_header(file: BinaryIO, file_bytes: int) -> WavHeader:
    """The header of an open file of `file_bytes` bytes, read from its beginning.

    Raises
    ------
    ValueError
        What is wrong, as the end of a sentence that starts with the file's name.
    """
    head = file.read(12)
    if len(head) < 12 or head[:4] not in (b"RIFF", b"RF64", b"BW64") or head[8:] != b"WAVE":
        raise ValueError("is no WAV file")
    layout = _walk(file, file_bytes)
    if b"fmt " not in layout.chunks:
        raise ValueError("has a damaged header: it does not say how its audio is stored")
    channels, rate_hz, frame_bytes, is_float = _check_format(layout.chunks[b"fmt "])
    if layout.data_offset is None:
        raise ValueError("holds no audio")
    riff_bytes = struct.unpack("<I", head[4:8])[0]
    if head[:4] != b"RIFF" and len(layout.chunks.get(b"ds64", b"")) >= 28:
        riff_bytes = struct.unpack_from("<Q", layout.chunks[b"ds64"])[0]
    on_disk = file_bytes - layout.data_offset
    unfinished = _is_unfinished(layout, riff_bytes, on_disk, frame_bytes * rate_hz)
    data_bytes = on_disk if unfinished else layout.data_bytes
    if data_bytes < frame_bytes:
        raise ValueError("holds no audio")
    return WavHeader(
        channels=channels,
        sample_rate_hz=rate_hz,
        frame_bytes=frame_bytes,
        is_float=is_float,
        data_offset=layout.data_offset,
        data_bytes=data_bytes,
        unfinished=unfinished,
        zero_bytes=layout.zero_bytes,
        end=min(layout.end, file_bytes),
        names=frozenset(layout.names),
        chunks=layout.chunks,
    )


def _walk(file: BinaryIO, file_bytes: int) -> _Layout:
    layout = _Layout({})
    for name, start, stated in _chunks(file, file_bytes):
        if name is None:
            zeros = _is_zero(file, start, file_bytes)
            layout.goes_on = layout.data_offset is not None and not zeros
            layout.zero_bytes = file_bytes - start if zeros else 0
            break
        layout.names.add(name)
        layout.end = start + stated
        if name == b"data":
            if layout.data_offset is None:
                layout.data_offset = start
                layout.data_bytes = stated
        elif name in _KEPT and name not in layout.chunks:
            limit = _KEPT[name]
            if stated <= limit or name in (b"fmt ", b"ds64"):
                file.seek(start)
                layout.chunks[name] = file.read(min(stated, limit))
    return layout


def _is_zero(file: BinaryIO, start: int, end: int) -> bool:
    """Only zeros lie between: padding or room taken in advance, which no recorder wrote sound to.

    Of a long stretch its begin and some spots are looked at.
    """
    spots = [start + n * (end - start) // _SPOTS for n in range(_SPOTS)]
    for spot in spots:
        file.seek(spot)
        if file.read(min(_SPOT_BYTES, end - spot)).strip(b"\0"):
            return False
    return True


def _chunks(file: BinaryIO, file_bytes: int) -> Iterator[tuple[bytes | None, int, int]]:
    """Name, start and stated bytes of each chunk; name None where the rest is no chunk."""
    at, long_data = 12, 0
    for _ in range(MAX_CHUNKS):
        if at + 8 > file_bytes:
            return
        file.seek(at)
        head = file.read(8)
        name, stated = head[:4], struct.unpack("<I", head[4:])[0]
        # A chunk has four printable letters and lies inside the file; audio rarely looks so.
        readable = all(0x20 <= letter < 0x7F for letter in name)
        if not readable or (name != b"data" and at + 8 + stated > file_bytes):
            yield None, at, 0
            return
        if name == b"ds64":
            body = file.read(16)
            long_data = struct.unpack_from("<Q", body, 8)[0] if len(body) == 16 else 0
        if name == b"data" and stated == _UNSET and long_data:
            stated = long_data
        yield name, at + 8, stated
        at += 8 + stated + stated % 2


def _is_unfinished(layout: _Layout, riff_bytes: int, on_disk: int, byte_rate: int) -> bool:
    """Whether the recorder never wrote the final sizes; ValueError where they make no sense.

    A crashed or running recorder leaves sizes unset or too small, and the whole header agrees
    on that: then what is on disk is the take. A size larger than the file means that a part is
    missing, and a part missing must never pass for a whole take.
    """
    assert layout.data_offset is not None
    stated = 0 if layout.data_bytes == _UNSET else layout.data_bytes
    header_is_stale = (
        riff_bytes in (0, _UNSET) or 8 + riff_bytes <= layout.data_offset + stated + stated % 2
    )
    if layout.data_bytes > on_disk:
        if layout.data_bytes == _UNSET and header_is_stale:
            return True
        lacks_s = (layout.data_bytes - on_disk) / byte_rate
        raise ValueError(
            f"is cut short: of {layout.data_bytes / byte_rate:.1f} s of audio that its header "
            f"promises {_length(lacks_s)} are missing; copy it again from the recorder"
        )
    if layout.data_bytes == 0 and on_disk and header_is_stale:
        return True
    if layout.goes_on and not header_is_stale:
        raise ValueError("has sizes in its header that contradict each other")
    # Less than a second of odd bytes at the end is padding, not a take that goes on.
    return layout.goes_on and on_disk - layout.data_bytes > byte_rate


def _length(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds >= 0.1 else f"{1000.0 * seconds:.1f} ms"


def check_rate(rate_hz: int) -> None:
    """ValueError where no recorder runs at that sample rate."""
    if not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
        raise ValueError(f"has a damaged header: {rate_hz} Hz sample rate")


def _check_format(fmt: bytes) -> tuple[int, int, int, bool]:
    """Channels, sample rate, bytes a frame and whether float; ValueError where senseless."""
    if len(fmt) < 16:
        raise ValueError("has a damaged header: it does not say how its audio is stored")
    tag, channels, rate_hz, _, frame_bytes, bits = struct.unpack("<HHIIHH", fmt[:16])
    if tag == _EXTENSIBLE and len(fmt) >= 26:
        tag = struct.unpack_from("<H", fmt, 24)[0]
    if not 1 <= channels <= MAX_CHANNELS:
        raise ValueError(f"has a damaged header: {channels} channels")
    check_rate(rate_hz)
    width = bytes_per_sample(tag, bits)
    if frame_bytes != channels * width:
        raise ValueError("has a damaged header: its frame size does not fit its channels")
    return channels, rate_hz, frame_bytes, tag == FLOAT
