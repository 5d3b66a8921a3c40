"""`watch --json-lines`: a document a line for the watch's begin, each state change and its end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final

from engine.model.commands import Watch
from engine.model.messages import AlarmEvent, Incident
from engine.model.safe_text import json_text

SCHEMA: Final = 1
"""Version of the documents; raised when a script that reads them would have to change."""


def begin_line(watch: Watch) -> str:
    """What is watched."""
    tracks = [
        {"track": track.input, "name": track.label, "kind": track.kind.value, "who": track.who}
        for track in watch.plan.tracks
    ]
    return _line("watch", source=watch.source, frame_rate=watch.plan.frame_rate, tracks=tracks)


def event_line(event: AlarmEvent) -> str:
    """One change of one alarm, with its incident as it stands."""
    incident = event.alarm.incident
    return _line(
        "event",
        event=event.kind.value,
        at_s=round(event.at_s, 4),
        timecode=event.timecode or None,
        state=event.alarm.state.value,
        incident=incident_json(incident),
    )


def notice_line(text: str) -> str:
    """What the watch has to say of itself."""
    return _line("notice", text=text)


def end_line(
    incidents: Sequence[Incident], watched_s: float, lost_s: float, label: Callable[[float], str]
) -> str:
    """All that was found, with timecode."""
    rows = [{**incident_json(one), "start_timecode": label(one.onset_s)} for one in incidents]
    seconds = {"watched_s": round(watched_s, 4), "lost_s": round(lost_s, 4)}
    return _line("end", **seconds, incidents=rows)


def incident_json(incident: Incident) -> dict[str, Any]:
    """An incident as plain values; `id` stays the same from event to event."""
    return {
        "id": incident.id,
        "track": incident.track,
        "tracks": list(incident.tracks),
        "fault": incident.fault.value,
        "severity": incident.severity.word,
        "onset_s": round(incident.onset_s, 4),
        "amber_s": _seconds(incident.amber_s),
        "red_s": _seconds(incident.red_s),
        "end_s": _seconds(incident.end_s),
        "covered_by": incident.covered_by,
        "uncovered": incident.uncovered,
        "detail": incident.detail,
        "part_of": incident.part_of,
    }


def _seconds(at_s: float | None) -> float | None:
    return None if at_s is None else round(at_s, 4)


def _line(kind: str, **values: Any) -> str:
    return json_text({"kind": kind, "schema": SCHEMA, **values}, allow_nan=False)
