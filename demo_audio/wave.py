"""A 24-bit multichannel WAV with the metadata a location recorder writes.

Sources: EBU Tech 3285 (bext), the open iXML specification (TRACK_LIST, SPEED),
Microsoft's WAVE_FORMAT_EXTENSIBLE for more than two channels.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from demo_audio.script import TITLE

BYTES: Final = 3
PCM_GUID: Final = bytes.fromhex("0100000000001000800000aa00389b71")
FULL_SCALE: Final = 1 << 23


def write_wave(
    path: Path,
    blocks: Iterable[NDArray[np.uint8]],
    frames: int,
    rate_hz: int,
    names: list[str],
    start_s: int,
    date: str,
) -> None:
    """Write blocks of shape (frames, channels, 3) as of `pcm24`; `frames` is their sum."""
    channels = len(names)
    chunks = [
        _chunk(b"fmt ", _format(channels, rate_hz)),
        _chunk(b"bext", _bext(start_s, rate_hz, date)),
        _chunk(b"iXML", _ixml(names, start_s, rate_hz).encode("utf-8")),
    ]
    size = frames * channels * BYTES
    head = b"".join(chunks) + struct.pack("<4sI", b"data", size)
    with path.open("wb") as out:
        out.write(struct.pack("<4sI4s", b"RIFF", 4 + len(head) + size, b"WAVE") + head)
        for block in blocks:
            out.write(block.data)


def pcm24(sound: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Little-endian 24-bit PCM of one channel, shape (frames, 3); clipped at full scale."""
    codes = sound * FULL_SCALE
    np.rint(codes, out=codes)
    np.clip(codes, -FULL_SCALE, FULL_SCALE - 1, out=codes)
    return codes.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :BYTES]


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack("<4sI", name, len(body)) + body + b"\0" * (len(body) % 2)


def _format(channels: int, rate_hz: int) -> bytes:
    align = channels * BYTES
    plain = struct.pack("<HHIIHH", 0xFFFE, channels, rate_hz, rate_hz * align, align, 8 * BYTES)
    return plain + struct.pack("<HHI", 22, 8 * BYTES, 0) + PCM_GUID


def _bext(start_s: int, rate_hz: int, date: str) -> bytes:
    minutes, seconds = divmod(start_s, 60)
    time = f"{minutes // 60:02}:{minutes % 60:02}:{seconds:02}"
    return struct.pack(
        "<256s32s32s10s8sQH64s5h180s",
        b"Demo take: a crew raises a bell into a church tower (invented)",
        b"demo_audio",
        b"",
        date.encode(),
        time.encode(),
        start_s * rate_hz,
        1,
        b"",
        *(0,) * 5,
        b"",
    )


def _ixml(names: list[str], start_s: int, rate_hz: int) -> str:
    tracks = "".join(
        f"<TRACK><CHANNEL_INDEX>{n}</CHANNEL_INDEX><INTERLEAVE_INDEX>{n}</INTERLEAVE_INDEX>"
        f"<NAME>{escape(name)}</NAME></TRACK>"
        for n, name in enumerate(names, start=1)
    )
    high, low = divmod(start_s * rate_hz, 1 << 32)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<BWFXML><IXML_VERSION>1.61</IXML_VERSION>'
        f"<PROJECT>{escape(TITLE)}</PROJECT><SCENE>1</SCENE><TAKE>1</TAKE>"
        "<SPEED><MASTER_SPEED>25/1</MASTER_SPEED><CURRENT_SPEED>25/1</CURRENT_SPEED>"
        "<TIMECODE_RATE>25/1</TIMECODE_RATE><TIMECODE_FLAG>NDF</TIMECODE_FLAG>"
        f"<FILE_SAMPLE_RATE>{rate_hz}</FILE_SAMPLE_RATE><AUDIO_BIT_DEPTH>24</AUDIO_BIT_DEPTH>"
        f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>{high}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
        f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>{low}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>"
        f"<TIMESTAMP_SAMPLE_RATE>{rate_hz}</TIMESTAMP_SAMPLE_RATE></SPEED>"
        f"<TRACK_LIST><TRACK_COUNT>{len(names)}</TRACK_COUNT>{tracks}</TRACK_LIST></BWFXML>"
    )
