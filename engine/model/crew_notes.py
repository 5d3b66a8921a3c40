"""What the crew sets down besides its alarms: marks, notes, breaks, fresh batteries.

Pure: each function returns new `CrewNotes`; times are stream times passed in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from engine.model.batteries import Battery, put_in


@dataclass(frozen=True, slots=True)
class Remark:
    """Words at a time of the stream: a note on an incident, or (`incident_id` None) a mark."""

    at_s: float
    text: str
    incident_id: int | None = None


@dataclass(frozen=True, slots=True)
class CrewNotes:
    """All of it, oldest first; `break_since_s` is None while there is no break."""

    marks: tuple[Remark, ...] = ()
    notes: tuple[Remark, ...] = ()
    break_since_s: float | None = None
    batteries: tuple[Battery, ...] = ()

    @property
    def on_break(self) -> bool:
        """All but the ambience is held back until the crew says so."""
        return self.break_since_s is not None

    def notes_on(self, *incident_ids: int) -> tuple[str, ...]:
        """The notes on these incidents."""
        return tuple(note.text for note in self.notes if note.incident_id in incident_ids)


def mark(crew: CrewNotes, text: str, at_s: float) -> CrewNotes:
    """Drop a mark, with or without words."""
    return replace(crew, marks=(*crew.marks, Remark(at_s, text.strip())))


def note(crew: CrewNotes, incident_id: int, text: str, at_s: float) -> CrewNotes:
    """Keep a note on an incident; without words nothing is kept."""
    if not text.strip():
        return crew
    return replace(crew, notes=(*crew.notes, Remark(at_s, text.strip(), incident_id)))


def set_break(crew: CrewNotes, on: bool, now_s: float) -> CrewNotes:
    """Begin a break or end it; a break that goes on keeps its begin."""
    if on == crew.on_break:
        return crew
    return replace(crew, break_since_s=now_s if on else None)


def fresh_battery(crew: CrewNotes, track: int, fresh_s: float, lasts_s: float | None) -> CrewNotes:
    """A fresh battery was put into that track's pack."""
    return replace(crew, batteries=put_in(crew.batteries, Battery(track, fresh_s, lasts_s)))
