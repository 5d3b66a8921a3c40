"""What a take says of itself: track names, time reference, frame rate, scene and take.

The `bext` and `iXML` chunks are read by the library `wavinfo`. Its own walk through a file trusts
the sizes it meets (a four-byte count can keep it busy for an hour), so it is only shown a small
container of our own making that holds the two chunks wanted.
"""

from __future__ import annotations

import io
import re
import struct
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, Final

from engine.model.frame_rates import frame_rate_of

_HOURS_24_S: Final = 24 * 3600
_IXML_FIELDS: Final = ("PROJECT", "SCENE", "TAKE", "TAPE", "NOTE", "CIRCLED", "UBITS")
_BEXT_FIELDS: Final = {
    "description": "description",
    "originator": "originator",
    "date": "originator_date",
    "time": "originator_time",
}
_VORBIS_FIELDS: Final = (
    *("description", "originator", "date", "project", "scene", "take", "tape", "note"),
    *("circled", "ubits"),
)
_VORBIS_DATES: Final = {"origination_date": "date", "origination_time": "time"}
"""What ffmpeg calls two of bext's fields where it writes them as comments."""

_LINE: Final = re.compile(r"[sz]?([A-Z]+)(\d*)=(.*)")
"""A line of a bext description as recorders write it: sSCENE=12, sTRK3=Boom."""

_SPEED: Final = re.compile(r"0*(\d+(?:\.\d+)?)\s*-?\s*(DF|D|NDF?|)", re.IGNORECASE)
"""025.000-ND, 029.97DF: a rate and how it counts."""


@dataclass(frozen=True, slots=True)
class Metadata:
    """What one file says of itself; empty where it says nothing usable.

    channel_index : the recorder's input of a mono file, from 1; None where it is not said
    frame_rate : in the plan's words; `odd_rate` is one that no standard counts, in words
    family : what the files of one recording have in common; "" where it is not said
    """

    channel_names: tuple[str, ...]
    start_samples: int | None = None
    frame_rate: str | None = None
    fields: Mapping[str, str] = field(default_factory=dict)
    channel_index: int | None = None
    odd_rate: str = ""
    family: str = ""


def read_metadata(
    chunks: Mapping[bytes, bytes],
    channels: int,
    sample_rate_hz: int,
    comments: Mapping[str, str] | None = None,
) -> Metadata:
    """Metadata of one file; never raises.

    Parameters
    ----------
    chunks : mapping of bytes to bytes
        The raw `bext` and `iXML` chunks, as far as there are any.
    channels, sample_rate_hz : int
    comments : mapping of str to str, optional
        Vorbis comments by their names in lower case: what no chunk says is taken from them.

    Source: EBU Tech 3285 (bext), iXML specification (root BWFXML). No schema is enforced there,
    so whatever can't be understood counts as not given. Names, scene and rate as lines of the bext
    description, and the time reference as a comment: common practice, no source.
    """
    bext, ixml = _parsed(b"bext", chunks), _parsed(b"iXML", chunks)
    description = bext.description or "" if bext is not None else ""
    found = _from_comments(comments or {}, channels)
    lines = _lines(description)
    found = _over(found, _from_lines(lines, channels))
    if bext is not None:
        fields = {key: _clean(getattr(bext, name)) for key, name in _BEXT_FIELDS.items()}
        found = _over(found, Metadata(("",) * channels, bext.time_reference, fields=fields))
    if ixml is not None:
        found = _over(found, _from_ixml(ixml, channels, sample_rate_hz, found.start_samples))
    start = found.start_samples
    if start is not None and not 0 <= start < _HOURS_24_S * sample_rate_hz:
        found = replace(found, start_samples=None)  # not a time since midnight
    return found


def _over(base: Metadata, newer: Metadata) -> Metadata:
    """What the newer one says, and the base where it says nothing."""
    pairs = zip(newer.channel_names, base.channel_names, strict=True)
    rate = newer if newer.frame_rate or newer.odd_rate else base
    return Metadata(
        tuple(new or old for new, old in pairs),
        base.start_samples if newer.start_samples is None else newer.start_samples,
        rate.frame_rate,
        {**base.fields, **{key: value for key, value in newer.fields.items() if value}},
        base.channel_index if newer.channel_index is None else newer.channel_index,
        rate.odd_rate,
        newer.family or base.family,
    )


def _parsed(name: bytes, chunks: Mapping[bytes, bytes]) -> Any:
    """The chunk as `wavinfo` understands it, or None."""
    body = chunks.get(name, b"")
    if not body:
        return None
    from wavinfo import WavInfoReader

    fmt = struct.pack("<HHIIHH", 1, 1, 48000, 96000, 2, 16)
    inner = b"WAVE" + _chunk(b"fmt ", fmt) + _chunk(name, body) + _chunk(b"data", b"\0\0")
    # Any failure at all means "no metadata": the audio must be readable whatever stands here.
    with suppress(Exception):
        reader = WavInfoReader(io.BytesIO(_chunk(b"RIFF", inner)), bext_encoding="latin_1")
        return reader.bext if name == b"bext" else reader.ixml
    return None


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def _clean(text: object) -> str:
    """One line of printable text, at most 256 characters."""
    words = "".join(c if c.isprintable() else " " for c in str(text or "")).split()
    return " ".join(words)[:256]


# ---- comments and description --------------------------------------------------------------------


def _from_comments(comments: Mapping[str, str], channels: int) -> Metadata:
    fields = {name: _clean(comments[name]) for name in _VORBIS_FIELDS if comments.get(name)}
    for name, ours in _VORBIS_DATES.items():
        if comments.get(name):
            fields[ours] = _clean(comments[name])
    start = comments.get("time_reference", "")
    names = ("",) * channels
    if channels == 1:
        names = (_clean(comments.get("title")),)
    lines = _from_lines(_lines(comments.get("description", "")), channels)
    known = Metadata(names, int(start) if _is_count(start) else None, fields=fields)
    return _over(known, lines)


def _is_count(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 20


def _lines(description: str) -> dict[tuple[str, int | None], str]:
    """Key and number of each line KEY=text, the recorders' leading letter left out."""
    lines = {}
    for line in str(description).splitlines():
        match = _LINE.fullmatch(line.strip())
        if match and len(match[2]) < 4:
            lines[match[1], int(match[2]) if match[2] else None] = _clean(match[3])
    return lines


def _from_lines(lines: Mapping[tuple[str, int | None], str], channels: int) -> Metadata:
    fields = {name.lower(): lines.get((name, None), "") for name in _IXML_FIELDS}
    tracks = {n: text for (key, n), text in sorted(lines.items(), key=str) if key == "TRK" and n}
    numbers = sorted(tracks)
    # Numbers of the recorder's inputs where there are as many as channels, else of the channels.
    order = numbers if len(numbers) == channels else range(1, channels + 1)
    names = tuple(tracks.get(n, "") for n in order)
    index = numbers[0] if channels == 1 and len(numbers) == 1 else None
    rate, odd = "", ""
    match = _SPEED.fullmatch(lines.get(("SPEED", None), ""))
    if match:
        drop = match[2].upper() in ("D", "DF")
        rate, odd = _frame_rate(match[1], "DF" if drop else "NDF")
    return Metadata(names, None, rate or None, fields, index, odd)


# ---- iXML ----------------------------------------------------------------------------------------


def _from_ixml(ixml: Any, channels: int, sample_rate_hz: int, start: int | None) -> Metadata:
    def text(path: str) -> str:
        with suppress(Exception):
            return _clean(ixml.raw_xml.findtext(f"./{path}"))
        return ""

    names, index = _names(ixml, channels)
    rate, odd = _frame_rate(text("SPEED/TIMECODE_RATE"), text("SPEED/TIMECODE_FLAG"))
    return Metadata(
        names,
        _ixml_start(text, sample_rate_hz) if start is None else start,
        rate or None,
        {name.lower(): text(name) for name in _IXML_FIELDS},
        index,
        odd,
        text("FILE_SET/FAMILY_UID"),
    )


def _names(ixml: Any, channels: int) -> tuple[tuple[str, ...], int | None]:
    """Track names by their position in the file (INTERLEAVE_INDEX), else in the order they stand.

    With them CHANNEL_INDEX of a mono file's one track.
    """
    with suppress(Exception):
        tracks = list(ixml.track_list)
        positions = [int(t.interleave_index) if t.interleave_index else 0 for t in tracks]
        if len(tracks) == channels and sorted(positions) != list(range(1, channels + 1)):
            positions = list(range(1, channels + 1))
        names = [""] * channels
        for position, track in zip(positions, tracks, strict=True):
            if 1 <= position <= channels:
                names[position - 1] = _clean(track.name)
        return tuple(names), _channel_index(tracks) if channels == 1 else None
    return ("",) * channels, None


def _channel_index(tracks: list[Any]) -> int | None:
    if len(tracks) == 1:
        with suppress(ValueError, TypeError):
            index = int(tracks[0].channel_index)
            return index if 1 <= index < 10_000 else None
    return None


def _ixml_start(text: Callable[[str], str], sample_rate_hz: int) -> int | None:
    """TIMESTAMP_SAMPLES_SINCE_MIDNIGHT at the file's rate, whatever rate it was counted at."""
    with suppress(ValueError, ZeroDivisionError):
        high = int(text("SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI") or 0)
        low = int(text("SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO"))
        counted_at = int(text("SPEED/TIMESTAMP_SAMPLE_RATE") or sample_rate_hz)
        return ((high << 32) + low) * sample_rate_hz // counted_at
    return None


def _frame_rate(rate: str, flag: str) -> tuple[str, str]:
    """A stated rate in the plan's words, or else in words of its own where no standard counts it.

    Both are "" where it can't be understood, or says that there is none.
    """
    with suppress(ValueError, ZeroDivisionError):
        frames_per_s = Fraction(rate.replace(" ", ""))
        if frames_per_s <= 0:
            return "", ""
        drop = flag.upper() == "DF"
        known = frame_rate_of(frames_per_s, drop=drop)
        if known is not None:
            return known.word, ""
        return "", f"{float(frames_per_s):.5g}{' drop-frame' if drop else ''}"
    return "", ""
