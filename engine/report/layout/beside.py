"""Early signs, rounds, who was heard where, and the page for the crew: the last of a session."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Final

from engine.model.number_text import number
from engine.model.pickups import Pickup
from engine.report.content import words
from engine.report.content.beside_alarms import longest_unheard_s, sign_words
from engine.report.content.crew_figures import KitFigures, kit_figures
from engine.report.content.report_data import Section
from engine.report.layout.blocks import (
    Block,
    Cell,
    Column,
    Heading,
    Pictures,
    Table,
    Text,
    Tone,
)
from engine.report.layout.kit_chart import kit_chart

MOST_PICKUPS: Final = 200
"""Rows on paper; the JSON has all."""


def beside(section: Section) -> Iterator[Block]:
    """The blocks; what has nothing to say is left out."""
    yield from _signs(section)
    yield from _listened(section)
    yield from _pickups(section)
    yield from _crew(section)


def _signs(section: Section) -> Iterator[Block]:
    signs = section.beside.signs
    if not signs:
        return
    yield Heading("Early signs", 3)
    rows = []
    for sign in signs:
        names = ", ".join(_track(section, n, sign.since_s) for n in sign.tracks)
        out = "to the end" if sign.until_s is None else section.timecode_out(sign.until_s)
        cells = (section.timecode(sign.since_s), out, names, sign_words(sign))
        rows.append(tuple(map(Cell, cells)))
    columns = (Column("Since", 0.14), Column("Until", 0.14), Column("Track", 0.32))
    yield Table((*columns, Column("What changed", 0.4)), tuple(rows))
    yield Text("No alarms: slow changes of a track against its own first ten minutes.", Tone.DIM)


def _listened(section: Section) -> Iterator[Block]:
    listened = section.beside.listened
    if not listened:
        return
    yield Heading("Listened to", 3)
    rows = []
    for figures in section.tracks:
        its = [one for one in listened if one.track == figures.track.input]
        if not its:
            continue
        longest_s = longest_unheard_s(listened, figures.track.input, section.duration_s)
        doubts = "; ".join(
            f"{section.timecode(one.at_s)} {one.word or 'doubt'}"
            for one in its
            if one.right is False
        )
        cells = (words.track_name(figures.track), str(len(its)), words.length(longest_s))
        rows.append((*map(Cell, cells), Cell(doubts or words.NONE)))
    columns = [Column("Track", 0.3), Column("Times", 0.1, right=True)]
    columns += (Column("Longest not listened to", 0.22, right=True), Column("Doubts", 0.38))
    yield Table(tuple(columns), tuple(rows))


def _pickups(section: Section) -> Iterator[Block]:
    """Of each performer the mics that heard them, as they stand over the whole watch."""
    by_pair: defaultdict[tuple[str, int], list[Pickup]] = defaultdict(list)
    for one in section.beside.pickups:
        by_pair[one.who, one.track].append(one)
    if not by_pair:
        return
    yield Heading("Who was heard on which other track", 3)
    rows = []
    for (who, track), its in sorted(by_pair.items())[:MOST_PICKUPS]:
        seconds = sum(one.seconds for one in its)
        over = [one.over_db for one in its]
        delays = [1000.0 * one.delay_s for one in its]
        cells = (
            who,
            _track(section, track, its[0].last_s),
            _range(over, "dB", 0),
            _range(delays, "ms", 1),
            f"{seconds} s" + (" (a guess)" if all(one.guess for one in its) else ""),
        )
        rows.append(tuple(map(Cell, cells)))
    columns = [Column("Performer", 0.2), Column("Track", 0.3), Column("Over its own sound", 0.18)]
    columns += (Column("Later than the pack", 0.18), Column("Heard alone for", 0.14))
    yield Table(tuple(columns), tuple(rows))
    text = "Learned from the sound while each spoke alone; the JSON has it by ten seconds."
    yield Text(text, Tone.DIM)


def _range(values: list[float], unit: str, digits: int) -> str:
    low, high = number(min(values), digits=digits), number(max(values), unit, digits=digits)
    return high if low == number(max(values), digits=digits) else f"{low} to {high}"


def _crew(section: Section) -> Iterator[Block]:
    kit = kit_figures(section, section.earlier)
    if not section.crew or not kit:
        return
    yield Heading("For the crew: what to fix", 3, new_page=True, landscape=True)
    yield Table(
        (
            *(Column("Done", 0.06), Column("What", 0.14), Column("Failed", 0.08, right=True)),
            *(Column("Earlier", 0.09, right=True), Column("First at", 0.11)),
            *(Column("On its battery", 0.11, right=True), Column("Seen after", 0.1, right=True)),
            *(Column("Over after", 0.1, right=True), Column("What it was, what was done", 0.21)),
        ),
        tuple(_kit_row(one, section) for one in kit),
    )
    if section.earlier:
        yield Pictures((kit_chart(kit, section.earlier),))
    yield Text(
        "Times are medians. Earlier: failures of the same pack or receiver in the last sessions on "
        "this computer. Tick off what was looked at.",
        Tone.DIM,
    )


def _kit_row(one: KitFigures, section: Section) -> tuple[Cell, ...]:
    def time(seconds: float | None) -> str:
        return words.NONE if seconds is None else words.length(seconds)

    what = "; ".join((", ".join(one.faults), *one.done))
    earlier = words.NONE if one.earlier is None else str(one.earlier)
    return (
        Cell("[   ]"),
        Cell(f"{one.what} {one.name}", bold=True),
        Cell(f"{one.failures} ×"),
        Cell(earlier),
        Cell(section.timecode(one.first_s)),
        Cell(time(one.battery_s)),
        Cell(time(one.seen_s)),
        Cell(time(one.mended_s)),
        Cell(what),
    )


def _track(section: Section, number_: int, at_s: float) -> str:
    track = section.track(number_, at_s)
    return f"track {number_}" if track is None else words.track_name(track)
