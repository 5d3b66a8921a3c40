"""A report as JSON, for scripts: everything but pictures."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from engine.model.pickups import Pickup
from engine.pipeline.scan_document import pickup_json
from engine.report.content.crew_figures import KitFigures, kit_figures
from engine.report.content.report_data import Entry, Note, Report, Section, TrackFigures
from engine.report.content.sections import figures
from engine.session.records import SignRecord

KIND: Final = "report"
SCHEMA: Final = 2
"""Version of the document; raised when a script that reads it would have to change."""


def document(report: Report) -> dict[str, Any]:
    """The report as plain Python values that JSON knows."""
    return {
        "kind": KIND,
        "schema": SCHEMA,
        "title": report.title,
        "heading": {name.lower(): value for name, value in report.heading},
        "made_by": report.made_by,
        "failed": [failure.as_json() for failure in report.failures],
        "sections": [_section(section) for section in report.sections],
    }


def _section(section: Section) -> dict[str, Any]:
    return {
        "name": section.name,
        "fields": dict(section.fields),
        "sample_rate_hz": section.sample_rate_hz,
        "duration_s": round(section.duration_s, 4),
        "frame_rate": section.frame_rate,
        "start_timecode": _label(section, 0.0),
        "timecode_from": section.timecode_origin,
        "timecode_offset": section.timecode_offset or None,
        "user_bits": section.user_bits or None,
        "missed": list(section.honest),
        "breaks": [
            {**_span(section, one.start_s, one.end_s), "text": one.text, "lost": one.lost}
            for one in section.breaks
        ],
        "incidents": [_entry(entry, section) for entry in section.entries],
        "tracks": [_track(one) for one in section.tracks],
        "who": [
            {
                "who": who.who,
                "tracks": list(who.tracks),
                "covered_fraction": who.covered_fraction,
                "stretches": [
                    {**_span(section, s.start_s, s.end_s), "use": s.use} for s in who.stretches
                ],
            }
            for who in section.whos
        ],
        "marks": [_note(note, section) for note in section.marks],
        "line_check": [_note(note, section) for note in section.line_check],
        "batteries": [_note(note, section) for note in section.batteries],
        "alarms": asdict(figures(section)),
        "signs": [_sign(sign, section) for sign in section.beside.signs],
        "pickups": [_pickup(one, section) for one in section.beside.pickups],
        "listened": [asdict(one) for one in section.beside.listened],
        "kit": [_kit(one) for one in kit_figures(section, section.earlier)],
    }


def _kit(one: KitFigures) -> dict[str, Any]:
    return {k: round(v, 4) if isinstance(v, float) else v for k, v in asdict(one).items()}


def _sign(sign: SignRecord, section: Section) -> dict[str, Any]:
    return {**asdict(sign), "timecode": _label(section, sign.since_s)}


def _pickup(one: Pickup, section: Section) -> dict[str, Any]:
    return pickup_json(one, _label(section, one.last_s))


def _span(section: Section, start_s: float, end_s: float) -> dict[str, Any]:
    return {
        "in_s": round(start_s, 4),
        "out_s": round(end_s, 4),
        "timecode_in": _label(section, start_s),
        "timecode_out": section.timecode_out(end_s) if section.timecode_origin else None,
    }


def _entry(entry: Entry, section: Section) -> dict[str, Any]:
    incident = entry.incident
    return {
        "number": entry.number,
        "track": incident.track,
        "tracks": list(incident.tracks),
        "fault": incident.fault.value,
        "severity": incident.severity.word,
        "uncovered": incident.uncovered,
        "spoils": entry.spoils,
        **_span(section, entry.start_s, entry.end_s),
        "ended": not entry.lasts,
        "detail": incident.detail,
        "part_of": incident.part_of,
        "use_instead": [
            {**_span(section, s.start_s, s.end_s), "track": s.use} for s in entry.instead
        ],
        "signs_before": [_sign(sign, section) for sign in entry.signs],
        "heard_on": None if entry.heard_on is None else _pickup(entry.heard_on, section),
        "done": [
            {
                "at_s": round(d.at_s, 4),
                "timecode": _label(section, d.at_s),
                "text": d.text,
                "by": d.by,
            }
            for d in entry.done
        ],
    }


def _track(one: TrackFigures) -> dict[str, Any]:
    track = one.track
    named = {"track": track.input, "name": track.label, "kind": track.kind.value, "who": track.who}
    measured = {key: getattr(one, key) for key in TrackFigures.__slots__ if key != "track"}
    return {**named, **measured}


def _note(note: Note, section: Section) -> dict[str, Any]:
    return {**asdict(note), "timecode": _label(section, note.at_s)}


def _label(section: Section, at_s: float) -> str | None:
    """The label of that moment; None where nothing tells the time."""
    return section.timecode(at_s) if section.timecode_origin else None
