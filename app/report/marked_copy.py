"""A copy of a WAV file with the markers in it: `cue ` and `adtl` chunks with lengths.

Source: Multimedia Programming Interface and Data Specifications 1.0 (RIFF: cue, labl, ltxt). Every
byte of the original before them is copied as it is, but for the size of the whole.
"""

from __future__ import annotations

import shutil
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from engine.report.content.markers import Marker
from engine.sources.base import SourceError
from engine.sources.take_files import TakeFiles, files_of
from engine.sources.wav_header import read_wav_header

_REGION: Final = b"rgn "
_MOST_BYTES: Final = 0xFFFF_FFFF


def write_marked_copies(take: Path, markers: Sequence[Marker], folder: Path) -> list[Path]:
    """Copies of all files of the take, with its markers, into that folder; returns their paths.

    Raises
    ------
    SourceError
        Where a copy would be the original, a file is no WAV file, was never closed, has markers
        already, or would grow too large.
    OSError
        Where a copy can't be written.
    """
    files = files_of(take)
    folder.mkdir(parents=True, exist_ok=True)
    copies = []
    for path, from_s, own in _parts(files, markers):
        copy = folder / path.name
        if copy.exists() and copy.samefile(path):
            raise SourceError(f"{path}: the copy would be the original: give another folder")
        _write(path, copy, own, from_s)
        copies.append(copy)
    return copies


def _parts(take: TakeFiles, markers: Sequence[Marker]) -> list[tuple[Path, float, list[Marker]]]:
    """Each file, where in the take it begins, and the markers that begin in it."""
    parts = []
    begin_s = 0.0
    for row in take.parts:
        length_s = row[0].frames / row[0].sample_rate_hz
        own = [m for m in markers if begin_s <= m.start_s < begin_s + length_s]
        parts += [(file.path, begin_s, own) for file in row]
        begin_s += length_s
    return parts


def _write(path: Path, copy: Path, markers: Sequence[Marker], from_s: float) -> None:
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] not in (b"RIFF", b"RF64", b"BW64"):
            raise SourceError(f"{path}: markers can be put into a WAV file only")
        file.seek(0)
        header = read_wav_header(file, size)
        if header.unfinished:
            raise SourceError(f"{path}: was never closed by its recorder: no copy is made of it")
    if b"cue " in header.names:
        raise SourceError(f"{path}: has markers of its own already: no copy is made of it")
    end = header.end
    added = _chunks(markers, header.sample_rate_hz, header.frames, from_s)
    whole = end + end % 2 + len(added) - 8
    if head[:4] == b"RIFF" and whole > _MOST_BYTES:
        raise SourceError(f"{path}: with markers it would be larger than a WAV file can be")
    fresh = copy.with_name(f".{copy.name}.new")
    try:
        shutil.copyfile(path, fresh)
        with fresh.open("r+b") as file:
            file.truncate(end)
            file.seek(end)
            file.write(b"\0" * (end % 2) + added)
            if head[:4] == b"RIFF":
                file.seek(4)
                file.write(struct.pack("<I", whole))
            else:
                file.seek(20)  # ds64 is the first chunk, its first field the size of the whole
                file.write(struct.pack("<Q", whole))
        fresh.replace(copy)
    finally:
        fresh.unlink(missing_ok=True)


def _chunks(markers: Sequence[Marker], rate_hz: int, frames: int, from_s: float) -> bytes:
    points, texts = b"", b""
    for number, marker in enumerate(markers, start=1):
        start = min(round((marker.start_s - from_s) * rate_hz), max(frames - 1, 0))
        end = min(round((marker.end_s - from_s) * rate_hz), frames)
        points += struct.pack("<II4sIII", number, start, b"data", 0, 0, start)
        label = marker.text.encode("utf-8", "replace") + b"\0"
        texts += _chunk(b"labl", struct.pack("<I", number) + label)
        length = struct.pack("<II4sHHHH", number, max(end - start, 0), _REGION, 0, 0, 0, 0)
        texts += _chunk(b"ltxt", length)
    return _chunk(b"cue ", struct.pack("<I", len(markers)) + points) + _chunk(
        b"LIST", b"adtl" + texts
    )


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)
