"""Everything a report tells after its first page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from engine.model.number_text import number_or_dash
from engine.report.content import words
from engine.report.content.alarm_figures import (
    ACCEPTABLE_PER_HOUR,
    MANAGEABLE_PER_HOUR,
    AlarmFigures,
)
from engine.report.content.beside_alarms import sign_words
from engine.report.content.report_data import Entry, Note, Section, TrackFigures
from engine.report.content.sections import MOST_PICTURES, figures
from engine.report.layout.anchors import Anchors
from engine.report.layout.beside import beside
from engine.report.layout.blocks import Block, Cell, Column, Heading, Pictures, Table, Text, Tone
from engine.report.layout.incident_picture import incident_picture
from engine.report.layout.performers import all_performers
from engine.report.layout.severity_marks import mark_of


def details(section: Section, anchors: Anchors, *, alone: bool = True) -> Iterator[Block]:
    """The blocks, part by part; what has nothing to say is left out.

    The wide tables of a report of its own, and of a crew's session, lie on pages of their own.
    """
    landscape = alone or section.crew
    yield from _incidents(section, anchors, landscape=landscape)
    yield from all_performers(section)
    yield from _tracks(section)
    yield from _breaks(section)
    yield from _notes("Marks", section.marks, section)
    yield from _notes("Line check", section.line_check, section)
    yield from _notes("Batteries", section.batteries, section)
    yield from _alarms(section)
    yield from beside(section)
    yield from _pictures(section, 3 if landscape else 2)


# ---- incidents -----------------------------------------------------------------------------------

_SCANNED: Final = (
    Column("No.", 0.04, right=True),
    Column("In, out", 0.11),
    Column("Lasts", 0.115, right=True),
    Column("Track", 0.135),
    Column("Who, pack", 0.12),
    Column("Fault", 0.25),
    Column("Use instead", 0.23),
)
_ANSWERED: Final = (
    Column("No.", 0.045, right=True),
    Column("In, out", 0.11),
    Column("Lasts", 0.09, right=True),
    Column("Track", 0.12),
    Column("Who, pack", 0.11),
    Column("Fault", 0.2),
    Column("Use instead", 0.155),
    Column("What was done", 0.2),
)
"""The same with what the crew did."""


def _incidents(section: Section, anchors: Anchors, *, landscape: bool) -> Iterator[Block]:
    yield Heading("All incidents", 3, new_page=landscape, landscape=landscape)
    if not section.entries:
        yield Text("There were none.")
        return
    answered = section.crew
    columns = _ANSWERED if answered else _SCANNED
    rows = []
    for entry in section.entries:
        row = _incident_row(entry, section, anchors)
        rows.append((*row, Cell(words.done(entry, section) or words.NONE)) if answered else row)
    yield Table(columns, tuple(rows))


def _incident_row(entry: Entry, section: Section, anchors: Anchors) -> tuple[Cell, ...]:
    track = entry.track
    who = ", ".join(filter(None, (track.who, words.pack(track)))) if track else words.NONE
    fault = ": ".join(filter(None, (entry.word, entry.incident.detail)))
    for sign in entry.signs:
        fault += f"; sign before it: {sign_words(sign)} since {section.timecode(sign.since_s)}"
    part_of = entry.incident.part_of
    out = "to the end" if entry.lasts else section.timecode_out(entry.end_s)
    return (
        Cell(str(entry.number), anchor=anchors.incident(entry.number)),
        Cell(f"{section.timecode(entry.start_s)} {out}"),
        Cell(words.length(entry.length_s)),
        Cell(words.subject(entry), bold=True),
        Cell(who or words.NONE),
        Cell(f"{fault} (part of {part_of})" if part_of else fault, mark_of(entry)),
        Cell(words.instead(entry, section)),
    )


def _pictures(section: Section, across: int) -> Iterator[Block]:
    shown = [entry for entry in section.entries if entry.excerpt is not None]
    if not shown:
        return
    yield Heading("Each incident around its onset", 3)
    own = sum(entry.track is not None for entry in section.entries)
    if own > len(shown):
        text = f"The {len(shown)} most urgent of {own} (at most {MOST_PICTURES} are drawn)."
        yield Text(text, Tone.DIM)
    if any(entry.excerpt is not None and entry.excerpt.low is None for entry in shown):
        text = "The log keeps no waveform: what is drawn is the sample peak of each second."
        yield Text(text, Tone.DIM)
    yield Pictures(tuple(incident_picture(entry, section) for entry in shown), across)


# ---- tracks -------------------------------------------------------------------------------------

_FIGURES: Final[tuple[tuple[str, float, Callable[[TrackFigures], float | None]], ...]] = (
    ("Integrated LUFS", 0.11, lambda one: one.integrated_lufs),
    ("Max. momentary LUFS", 0.115, lambda one: one.momentary_max_lufs),
    ("Max. short-term LUFS", 0.1, lambda one: one.short_term_max_lufs),
    ("True peak dBTP", 0.08, lambda one: one.true_peak_max_dbtp),
    ("Sample peak dBFS", 0.08, lambda one: one.sample_peak_max_dbfs),
    ("RMS dBFS", 0.08, lambda one: one.rms_dbfs),
    ("Floor dBFS", 0.08, lambda one: one.noise_floor_dbfs),
)


def _tracks(section: Section) -> Iterator[Block]:
    """Of each track what is known; a figure that is known of none has no column."""
    yield Heading("Tracks", 3)
    faults = _faults_by_track(section)
    shown = [f for f in _FIGURES if any(f[2](one) is not None for one in section.tracks)]
    present = any(one.present_fraction is not None for one in section.tracks)
    columns = [Column("Track", 0.2)]
    columns += [Column(name, share, right=True) for name, share, _ in shown]
    columns += [Column("Present", 0.085, right=True)] if present else []
    rows = []
    for one in section.tracks:
        row = [Cell(words.track_name(one.track), bold=True)]
        row += [Cell(number_or_dash(read(one))) for _, _, read in shown]
        row += [Cell(words.percent(one.present_fraction))] if present else []
        rows.append((*row, Cell(faults.get(one.track.input, words.NONE))))
    left = max(0.195, 1.0 - sum(column.share for column in columns))
    yield Table((*columns, Column("Faults", left)), tuple(rows))
    yield Text(
        "Loudness after ITU-R BS.1770, one channel; RMS after AES17 (a full-scale sine is 0 dBFS)"
        + (
            "; present: share of the time in which background or room tone was there."
            if present
            else "."
        ),
        Tone.DIM,
    )
    if section.tracks_note:
        yield Text(section.tracks_note, Tone.DIM)


def _faults_by_track(section: Section) -> dict[int, str]:
    """Of each track its faults: how often, and how long in all."""
    lengths_of: defaultdict[int, defaultdict[str, list[float]]]
    lengths_of = defaultdict(lambda: defaultdict(list))
    for entry in section.entries:
        if entry.track is not None:
            lengths_of[entry.track.input][entry.word].append(entry.length_s)
    return {
        track: "; ".join(
            f"{word} {len(lengths)} × ({words.length(sum(lengths))})"
            for word, lengths in by_word.items()
        )
        for track, by_word in lengths_of.items()
    }


# ---- the watch and its crew ----------------------------------------------------------------------

_BREAKS: Final = (Column("From", 0.14), Column("To", 0.14), Column("Lasts", 0.12, right=True))
_NOTES: Final = (Column("At", 0.14), Column("Track", 0.2), Column("What", 0.46), Column("By", 0.2))


def _breaks(section: Section) -> Iterator[Block]:
    if not section.breaks:
        return
    yield Heading("Breaks and gaps of the watch", 3)
    rows = tuple(
        (
            Cell(section.timecode(one.start_s)),
            Cell(section.timecode_out(one.end_s)),
            Cell(words.length(one.end_s - one.start_s)),
            Cell(one.text, tone=Tone.BAD if one.lost else Tone.PLAIN),
        )
        for one in section.breaks
    )
    yield Table((*_BREAKS, Column("What", 0.6)), rows)


def _notes(heading: str, notes: Sequence[Note], section: Section) -> Iterator[Block]:
    if not notes:
        return
    yield Heading(heading, 3)
    rows = tuple(
        (
            Cell(section.timecode(note.at_s)),
            Cell(_name(section, note.track, note.at_s)),
            Cell(note.text or "(no words)"),
            Cell(note.by or words.NONE),
        )
        for note in notes
    )
    yield Table(_NOTES, rows)


def _name(section: Section, number: int | None, at_s: float) -> str:
    """That track, named as it was then."""
    if number is None:
        return words.NONE
    track = section.track(number, at_s)
    return f"track {number}" if track is None else words.track_name(track)


def _alarms(section: Section) -> Iterator[Block]:
    yield Heading("Alarms", 3)
    rows = tuple(
        (Cell(name), Cell(value)) for name, value in _alarm_lines(figures(section), section)
    )
    yield Table((Column("", 0.3), Column("", 0.7)), rows)
    yield Text(
        "Terms and bounds as public summaries of ANSI/ISA-18.2-2016 (16.4) state them.", Tone.DIM
    )


_HOUR_S: Final = 3600.0
"""Of less than an hour no hourly rate can be told."""

_RATE_BOUNDS: Final = (
    f"for one operator, over long times, about {ACCEPTABLE_PER_HOUR} an hour are acceptable, "
    f"about {MANAGEABLE_PER_HOUR} the most that can be managed"
)


def _alarm_lines(alarms: AlarmFigures, section: Section) -> Iterator[tuple[str, str]]:
    amber = alarms.alarms - alarms.red
    yield "Raised", f"{alarms.alarms}: {alarms.red} red, {amber} amber only"
    if section.duration_s >= _HOUR_S:
        rate = number_or_dash(alarms.per_hour, "an hour")
        yield "Rate", f"{rate} ({_RATE_BOUNDS})"
    yield "Most in 10 min", str(alarms.most_in_10_min)
    spans = "; ".join(
        f"{section.span(f.start_s, f.end_s)} ({f.alarms} alarms)" for f in alarms.floods
    )
    yield (
        "Floods (over 10 in 10 min)",
        f"{len(alarms.floods)}, {words.percent(alarms.flood_fraction)} of the time: {spans}"
        if spans
        else "none",
    )
    yield (
        "Chattering (3 or more in 1 min)",
        "; ".join(
            f"{_name(section, c.track, section.duration_s)} {c.fault}, up to {c.raises} in a minute"
            for c in alarms.chattering
        )
        or "none",
    )
    if not section.crew:
        yield "Time until seen", "a scan has no crew to see them"
    elif alarms.answer_median_s is None or alarms.answer_longest_s is None:
        yield "Time until seen", "none was seen"
    else:
        yield (
            "Time until seen",
            f"median {words.length(alarms.answer_median_s)}, longest "
            f"{words.length(alarms.answer_longest_s)}; {alarms.answered} of {alarms.alarms} seen",
        )
