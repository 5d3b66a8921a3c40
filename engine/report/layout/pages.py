"""The order of a report: what an editor needs first, then everything else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from engine.report.content import words
from engine.report.content.report_data import Entry, Report, Section
from engine.report.content.sections import is_unusable, unusable_runs, urgency
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
from engine.report.layout.details import details
from engine.report.layout.severity_marks import Mark, mark_of
from engine.report.layout.timeline import legend, row_height, timeline

_ROOM: Final = 640.0
"""What page one has for table rows and the timeline, in the timeline's units, on Letter paper."""

_ROW: Final = 28.0
_LEAST_ROWS: Final = 6
_NONE_LOST: Final = "Monitoring complete: no audio missed."


def pages(report: Report) -> tuple[Block, ...]:
    """All blocks of the report, in order."""
    blocks: list[Block] = [Heading(report.title, 1)]
    if report.heading:
        blocks.append(Facts(report.heading))
    blocks += _failures(report)
    one = len(report.sections) == 1
    if len(report.sections) > 1:
        blocks += _all_takes(report.sections)
    for number, section in enumerate(report.sections):
        blocks += _first_page(section, report.title, new_page=number > 0 or not one, alone=one)
        blocks += details(section, new_page=one)
    blocks.append(Text(report.made_by, Tone.DIM))
    return tuple(blocks)


def _failures(report: Report) -> Iterator[Block]:
    """What could not be read, before anything else."""
    if report.failures:
        takes = words.count(len(report.failures), "take")
        yield Heading(f"{takes} could not be read and {_are(report)} not in this report", 2)
        for failure in report.failures:
            yield Text(failure.reason, Tone.BAD)


def _are(report: Report) -> str:
    return "is" if len(report.failures) == 1 else "are"


def _first_page(section: Section, title: str, *, new_page: bool, alone: bool) -> Iterator[Block]:
    if not alone or section.name != title:
        yield Heading(section.name, 2, new_page)
    yield Facts(tuple(_facts(section)))
    yield from _honest(section)
    yield from _in_a_hurry(section)
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


def _in_a_hurry(section: Section) -> Iterator[Block]:
    unusable = [e for e in section.entries if is_unusable(e)]
    yield Heading("Unusable, and what to use instead", 3)
    yield from _whos(section)
    if not unusable:
        yield Text("Nothing in this take is unusable.", Tone.GOOD)
    else:
        room = _rows_on_page_one(len(section.plan.tracks))
        chosen = sorted(unusable, key=urgency)[:room]
        yield Table(_HURRY, tuple(_hurry_row(e, section) for e in sorted(chosen, key=_by_onset)))
        if len(unusable) > room:
            more = words.count(len(unusable) - room, "more of them", "more of them")
            yield Text(f"The {room} worst; {more} in “All incidents” below.", Tone.DIM)
    rest = len(section.entries) - len(unusable)
    if rest:
        text = f"{words.count(rest, 'other incident')}, usable or minor, in “All incidents” below."
        yield Text(text, Tone.DIM)


def _rows_on_page_one(tracks: int) -> int:
    """Beside the timeline; where that is so high that it goes onto page two, a page full."""
    rows = int((_ROOM - row_height(tracks) * tracks) / _ROW)
    return rows if rows >= _LEAST_ROWS else int(_ROOM / _ROW)


def _by_onset(entry: Entry) -> int:
    return entry.number


_HURRY: Final = (
    Column("No.", 0.05, right=True),
    Column("In", 0.13),
    Column("Out", 0.13),
    Column("Lasts", 0.115, right=True),
    Column("Track", 0.175),
    Column("Fault", 0.14),
    Column("Use instead", 0.26),
)


def _hurry_row(entry: Entry, section: Section) -> tuple[Cell, ...]:
    nothing = bool(entry.instead) and all(s.use is None for s in entry.instead)
    return (
        Cell(str(entry.number)),
        Cell(section.timecode(entry.start_s)),
        Cell("to the end" if entry.lasts else section.timecode_out(entry.end_s)),
        Cell(words.length(entry.length_s)),
        Cell(words.subject(entry), bold=True),
        Cell(entry.word, mark_of(entry)),
        Cell(words.instead(entry, section), bold=nothing, tone=Tone.BAD if nothing else Tone.PLAIN),
    )


def _whos(section: Section) -> Iterator[Block]:
    """One line: who had no good pack, and how much."""
    bad = [who for who in section.whos if who.uncovered]
    if not section.whos:
        return
    if not bad:
        yield Text("Every performer had at least one usable track throughout.", Tone.GOOD)
        return
    for who in bad:
        spans = [
            section.span(s.start_s, s.end_s)
            for s in sorted(who.uncovered, key=lambda s: -s.length_s)[:3]
        ]
        more = len(who.uncovered) - len(spans)
        text = f"No usable track for {who.who}: {'; '.join(spans)}"
        text += f"; and {words.count(more, 'more time')}" if more > 0 else ""
        yield Text(
            f"{text}. A usable track for {words.percent(who.covered_fraction)} of the take.",
            Tone.BAD,
        )


def _all_takes(sections: Sequence[Section]) -> Iterator[Block]:
    """A line a take, then the worst of all, so that nobody has to leaf."""
    yield Heading("All takes", 2)
    noted = any("note" in section.fields for section in sections)
    columns = tuple(c for c in _TAKES if noted or c.name != "Note")
    rows = []
    for section in sections:
        unusable = sum(is_unusable(e) for e in section.entries)
        nobody_s = sum(s.length_s for who in section.whos for s in who.uncovered)
        scene = " / ".join(section.fields[k] for k in ("scene", "take") if k in section.fields)
        worst = min(map(mark_of, section.entries), key=list(Mark).index, default=Mark.GOOD)
        rows.append(
            (
                Cell(section.name, worst, bold=True),
                Cell(scene),
                *([Cell(section.fields.get("note", ""))] if noted else []),
                Cell(section.timecode(0.0)),
                Cell(words.length(section.duration_s)),
                Cell(str(unusable)),
                Cell(str(len(section.entries))),
                Cell(words.length(nobody_s) if nobody_s else words.NONE),
            )
        )
    yield Table(columns, tuple(rows))
    yield from _worst(sections)


def _worst(sections: Sequence[Section]) -> Iterator[Block]:
    """All that an editor has to leave in any of the takes, by take and time."""
    rows = [_day_row(run, section) for section in sections for run in unusable_runs(section)]
    if not rows:
        yield Text("Nothing in these takes is unusable.", Tone.GOOD)
        return
    yield Heading("Unusable, and what to use instead", 3)
    yield Table(_WORST, tuple(rows))


def _day_row(run: Sequence[Entry], section: Section) -> tuple[Cell, ...]:
    first, end_s = run[0], max(entry.end_s for entry in run)
    _, start, _, _, track, _, use = _hurry_row(first, section)
    lasts = any(entry.lasts for entry in run)
    faults = ", ".join(dict.fromkeys(entry.word for entry in run))
    return (
        Cell(section.name),
        start,
        Cell("to the end" if lasts else section.timecode_out(end_s)),
        Cell(words.length(end_s - first.start_s)),
        track,
        Cell(faults, min(map(mark_of, run), key=list(Mark).index)),
        use,
    )


_WORST: Final = (
    Column("Take", 0.18),
    Column("In", 0.11),
    Column("Out", 0.11),
    Column("Lasts", 0.115, right=True),
    Column("Track", 0.165),
    Column("Fault", 0.12),
    Column("Use instead", 0.2),
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
