"""A report's incidents as CSV that opens right in spreadsheet programs.

Source: RFC 4180 (CRLF, quotes doubled). That a text beginning with = + - @ or a control character
must not reach a spreadsheet as a formula: OWASP, "CSV Injection".
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import Final

from engine.report.content import words
from engine.report.content.report_data import Entry, Report, Section

BOM: Final = "\ufeff"
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

_MONTH: Final = "(jan|feb|mar|apr|may|june?|july?|aug|sept?|oct|nov|dec)"
_NUMBERS: Final = re.compile(
    r"0\d+|\d+([-/.]\d+)+|\d+e\d+|\d{16,}|\d+(:\d+){1,2}|\d+%|true|false"
    rf"|{_MONTH}[-./ ]?\d+|\d+[-./ ]?{_MONTH}",
    re.IGNORECASE,
)
"""What spreadsheet programs take for a number, a date, a time or a truth; common practice."""

HEAD: Final = (
    *("take", "number", "severity", "fault", "track", "name", "who", "level", "pack", "placement"),
    *("receiver", "timecode_in", "timecode_out", "in_s", "out_s", "length_s"),
    *("use_instead", "what_was_done", "detail", "part_of"),
    *("use_track", "scene", "scene_take", "path", "frame_rate", "timecode_from"),
    "timecode_offset",
)


def spreadsheet(report: Report, *, bom: bool = True) -> str:
    """One row an incident; `bom` lets spreadsheet programs see that it is UTF-8.

    Write it with newline="", so that its CRLF stay. `timecode_out` and `out_s` are empty for what
    lasted to the end.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n", quoting=csv.QUOTE_NONNUMERIC)
    writer.writerow(HEAD)
    for section in report.sections:
        for entry in section.entries:
            writer.writerow(_row(entry, section))
    return (BOM if bom else "") + out.getvalue()


def harmless(text: str) -> str:
    """The text as a spreadsheet takes it for text: with ' before what could be a formula.

    So too before what would be taken for something else: pack 007, take 3-2, 1E5, 12:30, Mar 4.
    """
    return "'" + text if text.startswith(_FORMULA) or _NUMBERS.fullmatch(text) else text


def _row(entry: Entry, section: Section) -> Iterator[str | int | float]:
    for value in _values(entry, section):
        yield harmless(value) if isinstance(value, str) else value


def _values(entry: Entry, section: Section) -> Iterator[str | int | float]:
    track, incident = entry.track, entry.incident
    yield section.name
    yield entry.number
    yield words.severity(entry)
    yield entry.word
    yield track.input if track is not None else words.numbers(incident.tracks)
    yield track.label if track is not None else ""
    if track is None:
        yield from ("",) * 5
    else:
        yield from (track.who, track.level or "", track.pack, track.placement, track.receiver)
    yield section.timecode(entry.start_s)
    yield "" if entry.lasts else section.timecode_out(entry.end_s)
    yield round(entry.start_s, 3)
    yield "" if entry.lasts else round(entry.end_s, 3)
    yield round(entry.length_s, 3)
    yield words.instead(entry, section)
    yield words.done(entry, section)
    yield incident.detail
    yield incident.part_of or ""
    uses = dict.fromkeys(stretch.use for stretch in entry.instead)
    yield uses.popitem()[0] or "" if len(uses) == 1 else words.numbers([u for u in uses if u])
    yield section.fields.get("scene", "")
    yield section.fields.get("take", "")
    yield section.path
    yield section.frame_rate
    yield section.timecode_origin or ""
    yield section.timecode_offset
