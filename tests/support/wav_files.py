"""WAV files made by hand, chunk by chunk, so that any size in them can be wrong."""

from __future__ import annotations

import struct

import numpy as np


def chunk(name: bytes, body: bytes, stated: int | None = None) -> bytes:
    """One RIFF chunk, padded to even length; `stated` replaces the true size."""
    size = len(body) if stated is None else stated
    return name + struct.pack("<I", size) + body + b"\0" * (len(body) % 2)


def fmt(channels: int = 2, rate_hz: int = 48_000, bits: int = 16, tag: int = 1) -> bytes:
    """A plain fmt chunk."""
    frame = channels * bits // 8
    body = struct.pack("<HHIIHH", tag, channels, rate_hz, rate_hz * frame & 0xFFFFFFFF, frame, bits)
    return chunk(b"fmt ", body)


def wav(*chunks: bytes, stated: int | None = None, name: bytes = b"RIFF") -> bytes:
    """A whole file of those chunks."""
    return chunk(name, b"WAVE" + b"".join(chunks), stated)


def pcm16(frames: int, channels: int = 2) -> np.ndarray:
    """16-bit samples, shape (frames, channels), every one different from its neighbours."""
    count = np.arange(frames * channels) * 7919 % 65_521 - 32_768
    return count.astype("<i2").reshape(frames, channels)


def bext(time_reference: int, description: bytes = b"") -> bytes:
    """A version 1 bext chunk (EBU Tech 3285)."""
    body = struct.pack(
        "<256s32s32s10s8sQH64s190s",
        *(description, b"", b"", b"2026-06-01", b"18:04:00"),
        *(time_reference, 1, b"", b""),
    )
    return chunk(b"bext", body)


def ixml(inner: str) -> bytes:
    """An iXML chunk around that content."""
    text = f'<?xml version="1.0" encoding="UTF-8"?><BWFXML>{inner}</BWFXML>'
    return chunk(b"iXML", text.encode())


def track_list(*tracks: tuple[int | str, str]) -> str:
    """An iXML TRACK_LIST of (interleave index, name)."""
    rows = "".join(
        f"<TRACK><CHANNEL_INDEX>{n}</CHANNEL_INDEX><INTERLEAVE_INDEX>{place}</INTERLEAVE_INDEX>"
        f"<NAME>{name}</NAME></TRACK>"
        for n, (place, name) in enumerate(tracks, start=1)
    )
    return f"<TRACK_LIST><TRACK_COUNT>{len(tracks)}</TRACK_COUNT>{rows}</TRACK_LIST>"
