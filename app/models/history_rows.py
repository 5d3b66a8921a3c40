"""Tonight's incidents and marks as rows of words, and which of them a filter keeps. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from app.style import wording
from engine.model import fault_remedies
from engine.model.crew_notes import CrewNotes
from engine.model.messages import Incident, Severity
from engine.session.plan_history import PlanHistory

MARK: Final = "mark"
COLUMNS: Final = ("Began", "Track", "Fault", "Priority", "Lasted", "Backup", "What, notes")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the history; `numbers` are the inputs it speaks of."""

    at_s: float
    numbers: tuple[int, ...]
    cells: tuple[str, ...]
    severity: Severity | None = None

    @property
    def fault(self) -> str:
        """What it is about, as a filter has it."""
        return self.cells[2]


def rows(
    plans: PlanHistory,
    desk: CrewNotes,
    incidents: Iterable[Incident],
    clock: Callable[[float], str] = wording.watching,
) -> tuple[Row, ...]:
    """Incidents and marks together, newest first; `clock` names a stream time.

    Each incident names its track as the plan did then.
    """
    made = [_incident(one, plans, clock(one.onset_s), desk) for one in incidents]
    made += [
        Row(mark.at_s, (), (clock(mark.at_s), "", MARK, "", "", "", mark.text))
        for mark in desk.marks
    ]
    return tuple(sorted(made, key=lambda row: -row.at_s))


def _incident(one: Incident, plans: PlanHistory, began: str, desk: CrewNotes) -> Row:
    numbers = one.tracks or (() if one.track is None else (one.track,))
    who = f"tracks {wording.numbers(numbers)}"
    if len(numbers) == 1:
        track = plans.track(numbers[0], one.onset_s)
        who = str(numbers[0]) if track is None else f"{track.input} {wording.isolate(track.label)}"
    lasted = "still on" if one.end_s is None else wording.lasted(one.end_s - one.onset_s)
    covered = "no backup" if one.uncovered else wording.covered_by(one.covered_by)
    detail = " · ".join(part for part in (one.detail, *desk.notes_on(one.id)) if part)
    cells = (began, who, fault_remedies.word(one.fault), one.severity.word, lasted, covered, detail)
    return Row(one.onset_s, numbers, cells, one.severity)


def matching(all_rows: Sequence[Row], number: int | None, fault: str) -> tuple[Row, ...]:
    """Those of that track (None: all of them) and that fault ("": all of them)."""
    return tuple(
        row
        for row in all_rows
        if (number is None or number in row.numbers) and fault in ("", row.fault)
    )
