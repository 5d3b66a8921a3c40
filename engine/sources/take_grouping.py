"""Which sound files belong to one take, and which go on from which.

What the files say of themselves decides: the family, scene and take of iXML, and the time
reference. Only where they say nothing do names decide. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from engine.sources.base import SourceError
from engine.sources.metadata import Metadata
from engine.sources.wav_header import MAX_CHANNELS

TOGETHER_S: Final = 1.0
"""Files of one take that state starts at most this far apart were begun together."""

FRAME_S: Final = 1 / 23.0
"""A part may state its start to a frame of picture only."""

_PART_DIGITS: Final = 3
_PART: Final = re.compile(r"(.*?)[ _.-](\d{3,})")
"""T03_001, T03_1_002: a part is numbered with three digits."""
_TAKE_WORD: Final = re.compile(r"(?i)(?:sc(?:ene)?|t(?:a?k(?:e)?)?|s|r(?:oll)?|[\W_\d])*\d+")
"""What may stand before a track's name where takes are told apart by it: T03, sc12-t4, 0412."""


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What was read of one file before its first frame; see `SoundFile`.

    damage : why it is not whole, in one line; then `readable_frames` of it are read, and silence
        after them, so that its track lasts as long as those beside it
    """

    path: Path
    sample_rate_hz: int
    channels: int
    frames: int
    metadata: Metadata
    unfinished: bool
    zeros_s: float
    damage: str = ""
    readable_frames: int = 0

    @property
    def start(self) -> int | None:
        """Time reference, samples since midnight."""
        return self.metadata.start_samples


Row = tuple[FileFacts, ...]
"""Files that lie side by side, in track order; or parts of one file, one after the other."""


def natural(path: Path) -> list[tuple[int, str]]:
    """Sort key: numbers in a name by their value, so that 2 comes before 10."""
    parts = re.split(r"(\d+)", path.name.casefold())
    return [(int(part), part) if part.isdecimal() else (0, part) for part in parts]


def grouped(files: Sequence[FileFacts], folder: Path) -> list[list[Row]]:
    """Takes as lists of parts."""
    takes: list[list[Row]] = []
    for members in _partition(files, _evidence(files)):
        if all(file.start is not None for file in members):
            takes += _by_start(members, folder)
        else:
            takes += _by_name(members, folder)
    return takes


def _evidence(files: Sequence[FileFacts]) -> Callable[[FileFacts], object]:
    """What tells the takes apart, as far as every file says it."""
    if all(file.metadata.family for file in files):
        return lambda file: file.metadata.family
    fields = [file.metadata.fields for file in files]
    if all(field.get("take") for field in fields):
        return lambda file: tuple(file.metadata.fields.get(key) for key in ("scene", "take"))
    keys = _take_names([file.path.stem for file in files])
    return lambda file: keys.get(file.path.stem, "")


def _take_names(stems: Sequence[str]) -> dict[str, str]:
    """The take's name in each stem, where stems are a take's name and a track's: T03_1, T04_1.

    Empty where they don't tell: PACK1_MAIN and PACK2_MAIN are tracks of one take.
    """
    for digits in (1, 2):
        split = [re.fullmatch(rf"((?:\D*\d+){{{digits}}})[ _.-]+(.+)", stem) for stem in stems]
        if not all(split):
            continue
        pairs = [(match[1], match[2]) for match in split if match]
        heads = sorted({head for head, _ in pairs})
        rests = [sorted(rest for h, rest in pairs if h == head) for head in heads]
        alike = len({re.sub(r"\d+", "0", head) for head in heads}) == 1
        if len(heads) < 2 or not alike or len(rests[0]) < 2 or any(r != rests[0] for r in rests):
            continue
        if all(rest.isdecimal() and len(rest) >= _PART_DIGITS for rest in rests[0]):
            continue  # parts
        numbered = all(rest.isdecimal() for rest in rests[0])
        if numbered or all(_TAKE_WORD.fullmatch(head) for head in heads):
            return {stem: head for stem, (head, _) in zip(stems, pairs, strict=True)}
    return {}


def _partition(
    files: Iterable[FileFacts], key: Callable[[FileFacts], object]
) -> list[list[FileFacts]]:
    groups: dict[object, list[FileFacts]] = {}
    for file in files:
        groups.setdefault(key(file), []).append(file)
    return list(groups.values())


def _by_start(files: Sequence[FileFacts], folder: Path) -> list[list[Row]]:
    """Takes of files that all state a start: parts go on exactly where the one before ended."""
    rows: list[list[FileFacts]] = []
    for file in sorted(files, key=lambda file: file.start or 0):
        if rows and _beside(rows[-1][0], file):
            rows[-1].append(file)
        else:
            rows.append([file])
    takes: list[list[Row]] = []
    for members in rows:
        row = _row(members, folder)
        if takes and goes_on(takes[-1][-1], row):
            takes[-1].append(row)
        else:
            takes.append([row])
    if len(takes) > 1 and goes_on(takes[-1][-1], takes[0][0]):  # over midnight
        takes = [takes[-1] + takes[0], *takes[1:-1]]
    return takes


def _beside(first: FileFacts, file: FileFacts) -> bool:
    """Begun together, or mono files of one length whose starts can't both be true."""
    assert first.start is not None
    assert file.start is not None
    if (first.channels, file.channels) != (1, 1):
        return False
    apart = file.start - first.start
    if apart >= first.frames:
        return False
    together = apart <= TOGETHER_S * first.sample_rate_hz
    return together or first.frames == file.frames


def goes_on(before: Row, after: Row) -> bool:
    """The files of `after` begin where those of `before` end, one for one."""
    if len(before) != len(after):
        return False
    for one, following in zip(before, after, strict=True):
        if (one.channels, one.sample_rate_hz) != (following.channels, following.sample_rate_hz):
            return False
        if one.start is None or following.start is None:
            return False
        apart = (following.start - one.start - one.frames) / one.sample_rate_hz
        if abs(apart) > FRAME_S and abs(apart + 24 * 3600) > FRAME_S:
            return False
    return True


def _by_name(files: Sequence[FileFacts], folder: Path) -> list[list[Row]]:
    """Takes of files that state no start: by numbers of parts in their names."""
    parts = _parts_by_name(files)
    if parts is not None:
        return [[_row(row, folder) for row in parts]]
    if all(file.channels > 1 for file in files):
        return [[(file,)] for file in files]
    return [[_row(files, folder)]]


def _parts_by_name(files: Sequence[FileFacts]) -> list[list[FileFacts]] | None:
    """Rows of parts T_001, T_002, or None: all parts but the last have one length."""
    split = [_PART.fullmatch(file.path.stem) for file in files]
    if len(files) < 2 or not all(split):
        return None
    heads: dict[str, list[FileFacts]] = {}
    for match, file in zip(split, files, strict=True):
        heads.setdefault(match[1] if match else "", []).append(file)
    tracks = list(heads.values())
    if len(tracks) == 1 and files[0].channels == 1 and len({f.frames for f in files}) == 1:
        return None  # tracks of one length
    numbers = [[int(m[2]) for m in split if m and m[1] == head] for head in heads]
    first = numbers[0]
    runs = first == list(range(first[0], first[0] + len(first)))
    if len(first) < 2 or not runs or any(own != first for own in numbers):
        return None
    lengths = [file.frames for file in tracks[0]]
    if len(set(lengths[:-1])) != 1 or lengths[-1] > lengths[0]:
        return None
    return [list(row) for row in zip(*tracks, strict=True)]


def _row(files: Sequence[FileFacts], folder: Path) -> Row:
    """Files side by side in track order, checked to be of one kind."""
    indices = [file.metadata.channel_index for file in files]
    ordered = sorted(files, key=lambda file: natural(file.path))
    if all(indices) and len(set(indices)) == len(indices):
        ordered = sorted(files, key=lambda file: file.metadata.channel_index or 0)
    if len(ordered) > MAX_CHANNELS:
        many = f"{len(ordered)} WAV and FLAC files, a take at most {MAX_CHANNELS}"
        raise SourceError(f"{folder}: holds {many}: give a folder for each take")
    for file in ordered[1:] if len(ordered) > 1 else ():
        _check_alike(file, ordered[0])
    return tuple(ordered)


def _check_alike(file: FileFacts, first: FileFacts) -> None:
    for one in (first, file):
        if one.channels != 1:
            raise SourceError(
                f"{one.path}: has {one.channels} channels: files side by side must be mono; "
                "give a file of several channels by itself"
            )
    if file.sample_rate_hz != first.sample_rate_hz:
        raise SourceError(
            f"{file.path}: runs at {file.sample_rate_hz} Hz, {first.path.name} at "
            f"{first.sample_rate_hz} Hz: the tracks of one take must agree"
        )
    if file.frames != first.frames:
        raise SourceError(
            f"{file.path}: has {file.frames} frames, {first.path.name} has {first.frames}: "
            "the tracks of one take must have one length"
        )
