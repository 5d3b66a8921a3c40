"""What a take says of itself: track names, time reference, frame rate, scene and take.

The fields are read by the library `wavinfo`. Its own walk through a file trusts the sizes it
meets (a four-byte count can keep it busy for an hour), so it is only shown a small container of
our own making that holds the two chunks wanted.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Final

from engine.model.frame_rates import FRAME_RATES

_HOURS_24_S: Final = 24 * 3600
_IXML_FIELDS: Final = ("PROJECT", "SCENE", "TAKE", "TAPE", "NOTE", "CIRCLED", "UBITS")
_BEXT_FIELDS: Final = {
    "description": "description",
    "originator": "originator",
    "date": "originator_date",
    "time": "originator_time",
}


@dataclass(frozen=True, slots=True)
class Metadata:
    """What one file says of itself; empty where it says nothing usable."""

    channel_names: tuple[str, ...]
    start_samples: int | None = None
    frame_rate: str | None = None
    fields: Mapping[str, str] = field(default_factory=dict)


def read_metadata(chunks: Mapping[bytes, bytes], channels: int, sample_rate_hz: int) -> Metadata:
    """Metadata from the raw `bext` and `iXML` chunks of one file; never raises.

    Source: EBU Tech 3285 (bext), iXML specification (root BWFXML). No schema is enforced there,
    so whatever can't be understood counts as not given.
    """
    bext = _parsed(b"bext", chunks)
    ixml = _parsed(b"iXML", chunks)
    names: tuple[str, ...] = ("",) * channels
    start: int | None = None
    rate: str | None = None
    fields: dict[str, str] = {}
    if bext is not None:
        start = bext.time_reference
        fields |= {key: _clean(getattr(bext, name)) for key, name in _BEXT_FIELDS.items()}
    if ixml is not None:
        text = _texts(ixml)
        names = _names(ixml, channels)
        start = _ixml_start(text, sample_rate_hz) if start is None else start
        rate = _frame_rate(text("SPEED/TIMECODE_RATE"), text("SPEED/TIMECODE_FLAG"))
        fields |= {name.lower(): text(name) for name in _IXML_FIELDS}
    if start is not None and not 0 <= start < _HOURS_24_S * sample_rate_hz:
        start = None  # not a time since midnight
    return Metadata(names, start, rate, {key: value for key, value in fields.items() if value})


def _parsed(name: bytes, chunks: Mapping[bytes, bytes]) -> Any:
    """The chunk as `wavinfo` understands it, or None."""
    from wavinfo import WavInfoReader

    body = chunks.get(name, b"")
    if not body:
        return None
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


def _texts(ixml: Any) -> Callable[[str], str]:
    def text(path: str) -> str:
        with suppress(Exception):
            return _clean(ixml.raw_xml.findtext(f"./{path}"))
        return ""

    return text


def _names(ixml: Any, channels: int) -> tuple[str, ...]:
    """Track names by their place in the file (INTERLEAVE_INDEX), else in the order they stand."""
    with suppress(Exception):
        tracks = list(ixml.track_list)
        positions = [int(t.interleave_index) if t.interleave_index else 0 for t in tracks]
        if len(tracks) == channels and sorted(positions) != list(range(1, channels + 1)):
            positions = list(range(1, channels + 1))
        names = [""] * channels
        for position, track in zip(positions, tracks, strict=True):
            if 1 <= position <= channels:
                names[position - 1] = _clean(track.name)
        return tuple(names)
    return ("",) * channels


def _ixml_start(text: Callable[[str], str], sample_rate_hz: int) -> int | None:
    """TIMESTAMP_SAMPLES_SINCE_MIDNIGHT at the file's rate, whatever rate it was counted at."""
    with suppress(ValueError, ZeroDivisionError):
        high = int(text("SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI") or 0)
        low = int(text("SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO"))
        counted_at = int(text("SPEED/TIMESTAMP_SAMPLE_RATE") or sample_rate_hz)
        return ((high << 32) + low) * sample_rate_hz // counted_at
    return None


def _frame_rate(rate: str, flag: str) -> str | None:
    """TIMECODE_RATE and TIMECODE_FLAG in the plan's words, or None."""
    with suppress(ValueError, ZeroDivisionError):
        rate_given = Fraction(rate.replace(" ", ""))
        drop = flag.upper() == "DF"
        for word, known in FRAME_RATES.items():
            # Decimal spellings such as 29.97 and 23.98 stand for the exact fractions.
            if known.drop is drop and abs(rate_given - known.rate) < Fraction(1, 200):
                return word
    return None
