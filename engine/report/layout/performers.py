"""Which track to use of each performer, and when: one line each."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from engine.alarms.coverage_timeline import Stretch, WhoCoverage
from engine.report.content import words
from engine.report.content.report_data import Section
from engine.report.content.sections import JOINED_S
from engine.report.layout.blocks import Block, Cell, Column, Heading, Table, Text, Tone
from engine.report.layout.severity_marks import Mark

_COLUMNS: Final = (
    Column("Who", 0.2),
    Column("From", 0.14),
    Column("To", 0.14),
    Column("Lasts", 0.12, right=True),
    Column("Use", 0.28),
    Column("Covered", 0.12, right=True),
)


def performers(section: Section, most: int) -> list[Block]:
    """For page one: at most so many lines, the times without any usable track before others."""
    if not section.whos:
        return []
    blocks: list[Block] = [Heading("Which track to use of each performer", 3)]
    if not any(who.uncovered for who in section.whos):
        blocks.append(Text("Every performer had at least one usable track throughout.", Tone.GOOD))
    changes = [(who, stretch) for who in section.whos for stretch in _other(who)]
    chosen = sorted(changes, key=lambda pair: (pair[1].use is not None, -pair[1].length_s))[:most]
    rows = [_row(who, stretch, section) for who, stretch in changes if (who, stretch) in chosen]
    if rows:
        blocks.append(Table(_COLUMNS, tuple(rows)))
    if len(changes) > len(rows):
        left = words.count(len(changes) - len(rows), "more line")
        blocks.append(Text(f"{left} in “Usable tracks of each performer” below.", Tone.DIM))
    usual = [who for who in section.whos if not _other(who)]
    if usual:
        names = ", ".join(f"{who.who} {who.tracks[0]}" for who in usual)
        blocks.append(Text(f"The usual track throughout: {names}."))
    return blocks


def all_performers(section: Section) -> Iterator[Block]:
    """One line for each time in which somebody's usual track was not the one to use."""
    if not section.whos:
        return
    yield Heading("Usable tracks of each performer", 3)
    rows: list[tuple[Cell, ...]] = []
    for who in section.whos:
        changes = _other(who)
        rows += [_row(who, stretch, section) for stretch in changes] or [_throughout(who)]
    yield Table(_COLUMNS, tuple(rows))


def _other(who: WhoCoverage) -> list[Stretch]:
    """Those in which another than the usual track is to be used, joined over short pauses."""
    joined: list[Stretch] = []
    for stretch in who.stretches:
        if stretch.use == who.tracks[0]:
            continue
        last = joined[-1] if joined else None
        if last and last.use == stretch.use and stretch.start_s - last.end_s < JOINED_S:
            joined[-1] = Stretch(last.start_s, stretch.end_s, last.use)
        else:
            joined.append(stretch)
    return joined


def _name(who: WhoCoverage) -> Cell:
    return Cell(who.who, Mark.UNCOVERED if who.uncovered else Mark.GOOD, bold=True)


def _throughout(who: WhoCoverage) -> tuple[Cell, ...]:
    use = Cell(f"track {who.tracks[0]} throughout")
    return (_name(who), Cell(""), Cell(""), Cell(""), use, Cell(words.percent(1.0)))


def _row(who: WhoCoverage, stretch: Stretch, section: Section) -> tuple[Cell, ...]:
    use, none = words.use(stretch, section), stretch.use is None
    return (
        _name(who),
        Cell(section.timecode(stretch.start_s)),
        Cell(section.timecode_out(stretch.end_s)),
        Cell(words.length(stretch.length_s)),
        Cell(use, bold=none, tone=Tone.BAD if none else Tone.PLAIN),
        Cell(words.percent(who.covered_fraction)),
    )
