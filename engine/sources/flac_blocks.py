"""Metadata blocks of a FLAC file: foreign RIFF chunks and Vorbis comments, within fixed bounds.

Source: RFC 9639 section 8 (blocks, VORBIS_COMMENT). That APPLICATION blocks with the identifier
"riff" each hold one chunk of the WAV that was encoded: foreign_metadata_storage.md of libFLAC,
and a test with that encoder.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO, Final

MAX_BLOCKS: Final = 1000
MAX_BLOCK_BYTES: Final = 1 << 20
"""Longest block read; only pictures are larger."""
MAX_COMMENTS: Final = 1000
_APPLICATION, _COMMENT = 2, 4
_WANTED: Final = (b"bext", b"iXML")


@dataclass(frozen=True, slots=True)
class FlacBlocks:
    """Chunks by their four letters; comments by their names in lower case, the first of each."""

    chunks: dict[bytes, bytes] = field(default_factory=dict)
    comments: dict[str, str] = field(default_factory=dict)


def read_flac_blocks(file: BinaryIO) -> FlacBlocks:
    """The blocks of an open file, read from its beginning; never raises ValueError."""
    blocks = FlacBlocks()
    for kind, body in _blocks(file):
        if kind == _APPLICATION and body[:4] == b"riff":
            name, stated = body[4:8], int.from_bytes(body[8:12], "little")
            if name in _WANTED and len(body) >= 12 + stated:
                blocks.chunks.setdefault(name, body[12 : 12 + stated])
        elif kind == _COMMENT:
            for key, text in _comments(body):
                blocks.comments.setdefault(key, text)
    return blocks


def _blocks(file: BinaryIO) -> Iterator[tuple[int, bytes]]:
    if file.read(4) != b"fLaC":
        return
    for _ in range(MAX_BLOCKS):
        head = file.read(4)
        if len(head) < 4:
            return
        size = int.from_bytes(head[1:], "big")
        kind = head[0] & 0x7F
        if kind in (_APPLICATION, _COMMENT) and size <= MAX_BLOCK_BYTES:
            yield kind, file.read(size)
        else:
            file.seek(size, 1)
        if head[0] & 0x80:
            return


def _comments(body: bytes) -> Iterator[tuple[str, str]]:
    """Name and text of each comment; ends where the lengths make no sense."""
    try:
        (vendor,) = struct.unpack_from("<I", body)
        (count,) = struct.unpack_from("<I", body, 4 + vendor)
        at = 8 + vendor
        for _ in range(min(count, MAX_COMMENTS)):
            (length,) = struct.unpack_from("<I", body, at)
            text = body[at + 4 : at + 4 + length].decode("utf-8", "replace")
            at += 4 + length
            name, equals, value = text.partition("=")
            if equals:
                yield name.lower(), value
    except struct.error:
        return
