"""The cell that says what to use instead of a track."""

from __future__ import annotations

from engine.report.content import words
from engine.report.content.report_data import Entry, Section
from engine.report.layout.blocks import Cell, Tone


def instead_cell(entry: Entry, section: Section) -> Cell:
    """What to use instead; it stands out where no track is usable."""
    nothing = entry.spoils and bool(entry.instead) and all(s.use is None for s in entry.instead)
    tone = Tone.BAD if nothing else Tone.PLAIN
    return Cell(words.instead(entry, section), bold=nothing, tone=tone)
