"""The order of a report: what an editor needs first, then everything else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from engine.report.content import words
from engine.report.content.report_data import Entry, Report, Section
from engine.report.content.sections import is_unusable, unusable_runs, urgency
from engine.report.layout.anchors import Anchors
from engine.report.layout.blocks import (
    Block,
    Cell,
    Column,
    Facts,
    Heading,
    Pictures,
    Table,
    Text,
    Tone,
)
from engine.report.layout.day import day
from engine.report.layout.details import details
from engine.report.layout.instead_cell import instead_cell
from engine.report.layout.performers import performers
from engine.report.layout.severity_marks import Mark, mark_of
from engine.report.layout.timeline import legend, row_height, timeline

_ROOM: Final = 640.0
"""What page one has for table rows and the timeline, in the timeline's units, on Letter paper."""

_FULL: Final = 740.0
"""What it has for table rows alone, where the timeline begins page two."""

_ROW: Final = 22.0
"""A row of a table: one line, now and then two."""

_LINE: Final = 17.0
"""A performer's line."""

_LEAST_ROWS: Final = 6
_LEAST_LINES: Final = 3
_NONE_LOST: Final = "Monitoring complete: no audio missed."


def pages(report: Report) -> tuple[Block, ...]:
    """All blocks of the report, in order."""
    blocks: list[Block] = [Heading(report.title, 1)]
    if report.heading:
        blocks.append(Facts(report.heading))
    blocks += _failures(report)
    alone = len(report.sections) == 1
    if len(report.sections) > 1:
        blocks += day(report.sections)
    for number, section in enumerate(report.sections):
        anchors = Anchors(number)
        if not alone or section.name != report.title:
            blocks.append(Heading(section.name, 2, new_page=not alone, anchor=anchors.take))
        blocks += _first_page(section, anchors)
        blocks += details(section, anchors, alone=alone)
    blocks.append(Text(report.made_by, Tone.DIM))
    return with_levels_in_order(blocks)


def with_levels_in_order(blocks: Iterable[Block]) -> tuple[Block, ...]:
    """The same with no level of heading left out: a reader goes by them."""
    ordered: list[Block] = []
    above: list[int] = []
    for block in blocks:
        if not isinstance(block, Heading):
            ordered.append(block)
            continue
        while above and above[-1] >= block.level:
            above.pop()
        above.append(block.level)
        ordered.append(replace(block, level=len(above)))
    return tuple(ordered)


def _failures(report: Report) -> Iterator[Block]:
    """What could not be read, before anything else."""
    if report.failures:
        takes = words.count(len(report.failures), "take")
        yield Heading(f"{takes} could not be read and {_are(report)} not in this report", 2)
        for failure in report.failures:
            yield Text(failure.reason, Tone.BAD)


def _are(report: Report) -> str:
    return "is" if len(report.failures) == 1 else "are"


def _first_page(section: Section, anchors: Anchors) -> Iterator[Block]:
    yield Facts(tuple(_facts(section)))
    yield from _honest(section)
    yield from _in_a_hurry(section, anchors)
    yield Heading("Timeline", 3)
    yield Pictures((timeline(section), legend()))


def _facts(section: Section) -> Iterable[tuple[str, str]]:
    for name, value in section.fields.items():
        yield name.capitalize(), value
    yield "From", section.timecode(0.0)
    yield "To", section.timecode_out(section.duration_s)
    yield "Length", words.length(section.duration_s)
    yield "Frame rate", section.frame_rate
    yield "Timecode from", section.timecode_from
    if section.timecode_offset:
        yield "LTC ahead of the file", section.timecode_offset
    if section.user_bits:
        yield "User bits", section.user_bits
    tracks = words.count(len(section.plan.tracks), "track")
    yield "Audio", f"{tracks}, {section.sample_rate_hz / 1000:g} kHz"


def _honest(section: Section) -> Iterator[Block]:
    """What the watch itself missed, before anything else it says."""
    lost = [one for one in section.breaks if one.lost]
    if not section.honest and not lost:
        yield Text(_NONE_LOST, Tone.GOOD)
        return
    for line in section.honest:
        yield Text(line, Tone.BAD)
    most = 4
    for one in lost[:most]:
        span = section.span(one.start_s, one.end_s)
        yield Text(f"Not watched {span}: {one.text}", Tone.BAD)
    if len(lost) > most:
        yield Text(f"… and {words.count(len(lost) - most, 'more gap')}, all listed below.")


def _in_a_hurry(section: Section, anchors: Anchors) -> Iterator[Block]:
    room = _room_on_page_one(len(section.plan.tracks))
    lines = performers(section, most=max(int(room / 4 / _LINE), _LEAST_LINES))
    yield from lines
    room -= _LINE * sum(len(block.rows) if isinstance(block, Table) else 1 for block in lines)
    yield Heading("Unusable, and what to use instead", 3)
    unusable = [e for e in section.entries if is_unusable(e)]
    if not unusable:
        yield Text("Nothing in this take is unusable.", Tone.GOOD)
    else:
        yield from _unusable(
            unusable_runs(section), section, anchors, max(int(room / _ROW), _LEAST_ROWS)
        )
    rest = len(section.entries) - len(unusable)
    if rest:
        text = f"{words.count(rest, 'other incident')}, usable or minor, in “All incidents” below."
        yield Text(text, Tone.DIM)


def _room_on_page_one(tracks: int) -> float:
    """Beside the timeline; where that is so high that it goes onto page two, a page full."""
    room = _ROOM - row_height(tracks) * tracks
    return room if room >= _LEAST_ROWS * _ROW else _FULL


_HURRY: Final = (
    Column("No.", 0.05, right=True),
    Column("In", 0.13),
    Column("Out", 0.13),
    Column("Lasts", 0.115, right=True),
    Column("Track", 0.175),
    Column("Fault", 0.14),
    Column("Use instead", 0.26),
)


def _unusable(
    runs: Sequence[Sequence[Entry]], section: Section, anchors: Anchors, room: int
) -> Iterator[Block]:
    """The worst runs of incidents, as many as there is room for, by time."""
    chosen = sorted(runs, key=lambda run: min(map(urgency, run)))[:room]
    chosen.sort(key=lambda run: run[0].number)
    yield Table(_HURRY, tuple(_run_row(run, section, anchors) for run in chosen))
    left = sum(map(len, runs)) - sum(map(len, chosen))
    if left:
        more = words.count(left, "more of them", "more of them")
        yield Text(f"The {len(chosen)} worst; {more} in “All incidents” below.", Tone.DIM)


def _run_row(run: Sequence[Entry], section: Section, anchors: Anchors) -> tuple[Cell, ...]:
    first, end_s = run[0], max(entry.end_s for entry in run)
    lasts = any(entry.lasts for entry in run)
    return (
        Cell(str(first.number), link=anchors.incident(first.number)),
        Cell(section.timecode(first.start_s)),
        Cell("to the end" if lasts else section.timecode_out(end_s)),
        Cell(words.length(end_s - first.start_s)),
        Cell(words.subject(first), bold=True),
        Cell(words.faults(run), min(map(mark_of, run), key=list(Mark).index)),
        instead_cell(first, section),
    )
