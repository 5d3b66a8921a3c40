"""What the table of faults says of an incident."""

from __future__ import annotations

from engine.detectors.registry import DETECTORS, Row, Scope
from engine.model.messages import Fault, Incident


def row_of(incident: Incident) -> Row | None:
    """The table's row; where a fault has two, the one that speaks of as much as the incident."""
    scope = Scope.INPUT if incident.track is None else Scope.TRACK
    rows = [row for row in DETECTORS if row.fault is incident.fault]
    return next((row for row in rows if row.scope is scope), rows[0] if rows else None)


def word(fault: Fault) -> str:
    """What a fault is called on screen and paper."""
    found = next((row.word for row in DETECTORS if row.fault is fault), "")
    return found or fault.value.replace("_", " ")


def spoils(incident: Incident) -> bool:
    """The fault makes the audio of its tracks unusable, so they cover nobody."""
    row = row_of(incident)
    return row is not None and row.spoils
