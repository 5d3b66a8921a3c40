"""Rows of the session log become data: each kind in one place."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.messages import Fault, Incident, Kind, PackLevel, Severity
from engine.model.tracks import Track
from engine.session.loudness_totals import LoudnessTotals
from engine.session.records import SessionRecord
from engine.session.schema import NotALogError

TRACK_COLUMNS: Final = "input, name, kind, who, level, pack, placement, receiver, battery"
INCIDENT_COLUMNS: Final = (
    "id, track, fault, severity, onset_s, amber_s, red_s, end_s, covered_by, uncovered, detail,"
    " tracks, part_of"
)
MOST_CHANNELS: Final = 65_535
"""As many as a WAV file can have (its field has 16 bits); more are damage."""

MOST_RATE_HZ: Final = 10_000_000


def session_of(row: Sequence[Any], path: Path) -> SessionRecord:
    """What the session was begun with.

    Raises
    ------
    NotALogError
        Where that can't be; `path` is the log's.
    """
    *columns, request, text = row
    utc_ms, source, live, rate_hz, channels, host_api, frame_rate, start_s, title = columns
    if not (0 < channels <= MOST_CHANNELS and 0 < rate_hz <= MOST_RATE_HZ):
        raise NotALogError(f"{path}: {channels} channels at {rate_hz} Hz: left alone")
    return SessionRecord(
        utc_ms=utc_ms,
        source=source,
        live=bool(live),
        sample_rate_hz=rate_hz,
        channels=channels,
        host_api=host_api,
        frame_rate=frame_rate,
        start_s=start_s,
        title=title,
        request=dataclass_json.loads(Open, request),
        plan_text=text,
    )


def track_of(row: Sequence[Any]) -> Track:
    """A track, from `TRACK_COLUMNS`."""
    number, name, kind, who, level, *others = row
    return Track(number, name, Kind(kind), who, PackLevel(level) if level else None, *others)


def incident_of(row: Sequence[Any]) -> Incident:
    """An incident, from `INCIDENT_COLUMNS`."""
    number, track, fault, severity, onset_s, amber_s, red_s, end_s = row[:8]
    cover, uncovered, detail, tracks, part_of = row[8:]
    return Incident(
        id=number,
        track=track,
        fault=Fault(fault),
        severity=Severity[severity.upper()],
        onset_s=onset_s,
        amber_s=amber_s,
        red_s=red_s,
        end_s=end_s,
        covered_by=cover,
        uncovered=bool(uncovered),
        detail=detail,
        tracks=tuple(json.loads(tracks)),
        part_of=part_of,
    )


def truth_of(row: Sequence[Any]) -> Truth:
    """A fault that a drill put in."""
    number, cause, tracks, onset_s, end_s, strength, severity, remark = row
    level = Severity[severity.upper()] if severity else None
    affected = tuple(json.loads(tracks))
    return Truth(number, Cause(cause), affected, onset_s, end_s, strength, level, remark)


def totals_of(text: str) -> LoudnessTotals | None:
    """Figures of one stretch; None where another version wrote them."""
    try:
        return dataclass_json.loads(LoudnessTotals, text)
    except ValueError:
        return None
