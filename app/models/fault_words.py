"""Words of each fault, read from the one table of faults."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from engine.model.messages import Alarm, Fault, Incident

if TYPE_CHECKING:
    from engine.detectors.registry import Row

UNNAMED: Final = "what is it?"
UNNAMED_BEFORE: Final = "what was it?"


def load() -> tuple[Row, ...]:
    """The table of faults.

    It brings all detectors and their mathematics along, which takes longer than all the rest of
    the window: read late, so that the window is there first.
    """
    from engine.detectors.registry import DETECTORS

    return DETECTORS


def _row(incident: Incident) -> Row | None:
    """The table's row; where a fault has two, the one that speaks of as much as the incident."""
    scope = "TRACK" if incident.track is not None else "INPUT"
    rows = [row for row in load() if row.fault is incident.fault]
    return next((row for row in rows if row.scope.name == scope), rows[0] if rows else None)


def word(fault: Fault) -> str:
    """What a fault is called on the screen."""
    found = next((row.word for row in load() if row.fault is fault), "")
    return found or fault.value.replace("_", " ")


def told(alarm: Alarm) -> str:
    """What an alarm's fault is called; a question while a drill keeps it back."""
    return UNNAMED if alarm.unnamed else word(alarm.incident.fault)


def check_first(incident: Incident) -> str:
    """What to check first, one short line; empty where the table says nothing."""
    row = _row(incident)
    return row.check_first if row else ""
