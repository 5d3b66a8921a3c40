"""What an editor wants to see on a timeline: unusable stretches, notes and marks of one take."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from engine.model.frame_rates import FRAME_RATES, FrameRate
from engine.model.safe_text import harmless
from engine.report.content import words
from engine.report.content.report_data import Section
from engine.report.content.sections import is_unusable

_SUFFIX: Final = re.compile(r"\.(wav|wave|bwf|rf64|bw64|flac|fla)$", re.IGNORECASE)

_FITS_FRAMES: Final = 2
"""Labels and elapsed time may differ by so many frames; by more, the code has jumped."""


_NO_TRACK: Final = ("no ", "NOTHING", "listen ", "see ")
"""So begins what names no track to use."""


@dataclass(frozen=True, slots=True)
class Marker:
    """From `start_s` to `end_s` of the take; a moment where both are one."""

    name: str
    start_s: float
    end_s: float
    colour: str
    comment: str = ""

    @property
    def text(self) -> str:
        """Name and comment in one line."""
        return f"{self.name}: {self.comment}" if self.comment else self.name


def markers_of(section: Section) -> tuple[Marker, ...]:
    """All of them by start: red where a stretch is unusable, green a mark, yellow a note."""
    return tuple(sorted(_all(section), key=lambda marker: (marker.start_s, marker.end_s)))


def _all(section: Section) -> Iterator[Marker]:
    for entry in section.entries:
        if is_unusable(entry):
            name = harmless(f"{words.subject(entry)}: {entry.word}")
            instead = words.instead(entry, section)
            use = harmless(instead if instead.startswith(_NO_TRACK) else f"use {instead}")
            colour = "purple" if entry.incident.uncovered else "red"
            yield Marker(name, entry.start_s, entry.end_s, colour, use)
        for done in entry.done:
            if done.text.startswith("note"):
                what = f"{words.subject(entry)}: {done.text}"
                yield Marker(harmless(what), done.at_s, done.at_s, "yellow")
    for mark in section.marks:
        yield Marker(harmless(mark.text) or "mark", mark.at_s, mark.at_s, "green")


@dataclass(frozen=True, slots=True)
class FrameCount:
    """Frames of one take, counted on from the label that it starts with."""

    section: Section

    @property
    def rate(self) -> FrameRate:
        """How the labels count."""
        return FRAME_RATES[self.section.frame_rate]

    @property
    def first(self) -> int:
        """The frame number of the take's first label."""
        return self.rate.frame(self.section.timecode(0.0))

    def at(self, at_s: float, *, out: bool = False) -> int:
        """The frame of that moment, not wrapped at midnight; of an Out point the first good one."""
        label = self.section.timecode_out(at_s) if out else self.section.timecode(at_s)
        elapsed = at_s * float(self.rate.rate)
        try:
            ahead = (self.rate.frame(label) - self.first) % self.rate.frames_per_day
        except ValueError:  # counted another way for a while
            ahead = -1
        if abs(ahead - elapsed) > _FITS_FRAMES:
            ahead = -int(-elapsed // 1) if out else int(elapsed)
        return self.first + ahead


def file_stems(sections: Sequence[Section], taken: Sequence[str] = ()) -> list[str]:
    """A name of its own for each take's files, and none of those that are taken."""
    stems: list[str] = [*taken]
    for section in sections:
        base = _SUFFIX.sub("", section.name)
        stem = re.sub(r"[^\w. -]+", "_", base).strip(". ") or "take"
        number = sum(other == stem or other.startswith(f"{stem} (") for other in stems)
        stems.append(f"{stem} ({number + 1})" if number else stem)
    return stems[len(taken) :]
