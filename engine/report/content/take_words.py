"""What a take says of itself, in the same words whether it was scanned or watched."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from engine.timecode.clock import Origin

TIMECODE_FROM: Final = {
    Origin.LTC: "the timecode track",
    Origin.FREE_RUNNING: "the timecode track, free-running",
    Origin.FILE: "the file's time reference",
    Origin.START: "the take's start (the file has no time reference)",
    Origin.TIME_OF_DAY: "the time of day",
}
_FIELDS: Final = (
    *("project", "scene", "take", "tape", "circled", "note"),
    *("description", "originator", "date", "time", "ubits"),
)
"""Of the sound report, in the order to show."""


def take_fields(fields: Mapping[str, str]) -> dict[str, str]:
    """Those that a report shows, in its order."""
    return {key: fields[key] for key in _FIELDS if fields.get(key)}
