"""Markers as a CMX 3600 edit decision list: an event a take, with a `* LOC` comment each.

Source: CMX 3600 as the library pycmx reads it; `* LOC: label colour name` is common practice, no
source. Labels count in frames, and from 24 hours on from 0 again.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

from engine.report.content.markers import FrameCount, Marker, markers_of
from engine.report.content.report_data import Section

_MOST_TEXT: Final = 100


def edl(sections: Sequence[Section], title: str) -> str:
    """The list of those takes, on the record side one after the other from the first's start."""
    lines = [f"TITLE: {_plain(title)}"]
    record = FrameCount(sections[0]).first if sections else 0
    for number, section in enumerate(sections, start=1):
        count = FrameCount(section)
        lines += ["", "FCM: DROP FRAME" if count.rate.drop else "FCM: NON-DROP FRAME"]
        length = max(count.at(section.duration_s, out=True) - count.first, 1)
        lines += _event(number, section, count, record, length)
        record += length
    return "\r\n".join(lines) + "\r\n"


def _event(
    number: int, section: Section, count: FrameCount, record: int, length: int
) -> Iterator[str]:
    rate = count.rate
    labels = (count.first, count.first + length, record, record + length)
    span = " ".join(rate.label(frame) for frame in labels)
    reel = re.sub(r"[^A-Z0-9]", "", section.name.upper())[:8] or "AX"
    yield f"{number:03}  {reel:<8} A     C        {span}"
    yield f"* FROM CLIP NAME: {_plain(section.name)}"
    for marker in markers_of(section):
        at = record + min(count.at(marker.start_s) - count.first, length - 1)
        yield f"* LOC: {rate.label(at)} {marker.colour.upper():<7} {_text(marker, count)}"


def _text(marker: Marker, count: FrameCount) -> str:
    """Name, and how long it is as a label: a locator is but a moment."""
    frames = count.at(marker.end_s, out=True) - count.at(marker.start_s)
    length = f" [{count.rate.label(frames)}]" if marker.end_s > marker.start_s else ""
    return _plain(marker.text)[: _MOST_TEXT - len(length)] + length


def _plain(text: str) -> str:
    """Printable ASCII on one line: all that readers of these lists agree on."""
    return text.encode("ascii", "replace").decode().strip()
