"""The first page of a report of several takes: what is unusable in any of them, then each take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from engine.report.content import words
from engine.report.content.report_data import Entry, Section
from engine.report.content.sections import is_unusable, unusable_runs
from engine.report.layout.anchors import Anchors
from engine.report.layout.blocks import Block, Cell, Column, Heading, Table, Text, Tone
from engine.report.layout.instead_cell import instead_cell
from engine.report.layout.severity_marks import Mark, mark_of

_DAY_S: Final = 24 * 3600.0

_UNUSABLE: Final = (
    Column("Take", 0.13),
    Column("In", 0.11),
    Column("Out", 0.11),
    Column("Lasts", 0.11, right=True),
    Column("Track", 0.16),
    Column("Fault", 0.11),
    Column("Use instead", 0.27),
)
_TAKES: Final = (
    Column("Take", 0.28),
    Column("Scene / take", 0.11),
    Column("Note", 0.2),
    Column("From", 0.135),
    Column("Length", 0.12, right=True),
    Column("Unusable", 0.11, right=True),
    Column("Incidents", 0.11, right=True),
    Column("No backup", 0.12, right=True),
)


def day(sections: Sequence[Section]) -> Iterator[Block]:
    """All stretches that an editor has to leave, by time; then a line a take, with a way to it."""
    yield Heading("All takes", 2)
    yield Heading("Unusable, and what to use instead", 3)
    rows = [
        _unusable_row(run, sections[number], Anchors(number))
        for number in _by_time(sections)
        for run in unusable_runs(sections[number])
    ]
    if rows:
        yield Table(_UNUSABLE, tuple(rows))
    else:
        yield Text("Nothing in these takes is unusable.", Tone.GOOD)
    yield Heading("Each take", 3)
    noted = any("note" in section.fields for section in sections)
    columns = tuple(c for c in _TAKES if noted or c.name != "Note")
    takes = (_take_row(s, Anchors(n), noted=noted) for n, s in enumerate(sections))
    yield Table(columns, tuple(takes))


def _by_time(sections: Sequence[Section]) -> list[int]:
    """The sections' numbers by date and time; in their order where some know no time.

    Without dates the day begins after the longest pause, so that one may go on past midnight.
    """
    numbers = list(range(len(sections)))
    if any(section.timecode_origin is None for section in sections):
        return numbers
    dates = [section.fields.get("date", "") for section in sections]
    if all(dates):
        return sorted(numbers, key=lambda n: (dates[n], sections[n].start_s))
    numbers.sort(key=lambda n: sections[n].start_s)
    starts_s = [sections[n].start_s for n in numbers]
    pauses_s = [starts_s[0] + _DAY_S - starts_s[-1], *(b - a for a, b in pairwise(starts_s))]
    first = pauses_s.index(max(pauses_s))
    return numbers[first:] + numbers[:first]


def _unusable_row(run: Sequence[Entry], section: Section, anchors: Anchors) -> tuple[Cell, ...]:
    first, end_s = run[0], max(entry.end_s for entry in run)
    lasts = any(entry.lasts for entry in run)
    return (
        Cell(section.name, link=anchors.take),
        Cell(section.timecode(first.start_s)),
        Cell("to the end" if lasts else section.timecode_out(end_s)),
        Cell(words.length(end_s - first.start_s)),
        Cell(words.subject(first), bold=True),
        Cell(words.faults(run), _worst(run)),
        instead_cell(first, section),
    )


def _worst(entries: Sequence[Entry]) -> Mark:
    return min(map(mark_of, entries), key=list(Mark).index, default=Mark.GOOD)


def _take_row(section: Section, anchors: Anchors, *, noted: bool) -> tuple[Cell, ...]:
    unusable = sum(is_unusable(entry) for entry in section.entries)
    nobody_s = sum(stretch.length_s for who in section.whos for stretch in who.uncovered)
    scene = " / ".join(section.fields[k] for k in ("scene", "take") if k in section.fields)
    return (
        Cell(section.name, _worst(section.entries), bold=True, link=anchors.take),
        Cell(scene),
        *([Cell(section.fields.get("note", ""))] if noted else []),
        Cell(section.timecode(0.0)),
        Cell(words.length(section.duration_s)),
        Cell(str(unusable)),
        Cell(str(len(section.entries))),
        Cell(words.length(nobody_s) if nobody_s else words.NONE),
    )
