"""What the crew sets down besides its alarms: marks, notes, breaks, fresh batteries.

Pure: each function returns new `CrewNotes`; times are stream times passed in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from engine.model.batteries import Battery, put_in


@dataclass(frozen=True, slots=True)
class Remark:
    """Words at a time of the stream: a note on an incident, or (`incident_id` None) a mark."""

    at_s: float
    text: str
    incident_id: int | None = None


class Stage(StrEnum):
    """How far an assistant is with what is wrong."""

    ON_THE_WAY = "on the way"
    FIXED = "fixed?"


@dataclass(frozen=True, slots=True)
class Attendance:
    """An assistant works on an incident since `at_s`, or asks since then whether it is fixed."""

    at_s: float
    incident_id: int
    name: str
    stage: Stage

    @property
    def words(self) -> str:
        """In a few words."""
        fixed = self.stage is Stage.FIXED
        return f"{self.name}: fixed?" if fixed else f"{self.name} is on the way"


MOST_ATTENDED: Final = 200
"""How many incidents' attendances are remembered; ours, more than one night's crew can walk to."""


@dataclass(frozen=True, slots=True)
class CrewNotes:
    """All of it, oldest first; `break_since_s` is None while there is no break."""

    marks: tuple[Remark, ...] = ()
    notes: tuple[Remark, ...] = ()
    break_since_s: float | None = None
    batteries: tuple[Battery, ...] = ()
    attendances: tuple[Attendance, ...] = ()

    @property
    def on_break(self) -> bool:
        """All but the ambience is held back until the crew says so."""
        return self.break_since_s is not None

    def attendance_of(self, *incident_ids: int) -> Attendance | None:
        """Who works on these incidents, the last one who said so; None where nobody does."""
        attendances = [a for a in self.attendances if a.incident_id in incident_ids]
        return max(attendances, key=lambda a: a.at_s, default=None)

    def notes_on(self, *incident_ids: int) -> tuple[str, ...]:
        """The notes on these incidents."""
        return tuple(note.text for note in self.notes if note.incident_id in incident_ids)


def attend(
    crew: CrewNotes, incident_id: int, name: str, stage: Stage | None, at_s: float
) -> CrewNotes:
    """One assistant at a time works on an incident: the last one who said so; None: nobody."""
    others = tuple(a for a in crew.attendances if a.incident_id != incident_id)
    if stage is None or not name.strip():
        return replace(crew, attendances=others)
    attendance = Attendance(at_s, incident_id, name.strip(), stage)
    return replace(crew, attendances=(*others, attendance)[-MOST_ATTENDED:])


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
