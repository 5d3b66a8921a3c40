"""A JSON Schema (draft 2020-12) for each document that the program prints or writes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from engine.measure.disturbances import Disturbing
from engine.model.early_signs import SignKind
from engine.model.fault_remedies import FAULTS
from engine.model.frame_rates import FRAME_RATES
from engine.model.messages import AlarmState, EventKind, Fault, Kind, PackLevel, Severity
from engine.pipeline.own_marks import GAIN

Node = dict[str, Any]

DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"
SCAN, REPORT, WATCH, LISTING = 2, 2, 1, 1
"""Versions, as the documents state them; held to them by a test."""

_TEXT: Final[Node] = {"type": "string"}
_NUMBER: Final[Node] = {"type": "number"}
_COUNT: Final[Node] = {"type": "integer", "minimum": 0}
_TRACK: Final[Node] = {"type": "integer", "minimum": 1}
_TRUTH: Final[Node] = {"type": "boolean"}
_LABEL: Final[Node] = {"type": "string", "pattern": r"^\d\d:\d\d:\d\d[:;]\d\d$"}
_SHARE: Final[Node] = {"type": "number", "minimum": 0, "maximum": 1}


def _or_null(node: Node) -> Node:
    return {"anyOf": [node, {"type": "null"}]}


def _list(node: Node) -> Node:
    return {"type": "array", "items": node}


def _one_of(words: Any) -> Node:
    return {"enum": list(words)}


def _object(required: Mapping[str, Node], optional: Mapping[str, Node] | None = None) -> Node:
    """Keys may be added to any object: nothing is closed."""
    return {
        "type": "object",
        "required": list(required),
        "properties": {**required, **(optional or {})},
    }


def _document(kind: str, version: int, required: Mapping[str, Node]) -> Node:
    return _object({"kind": {"const": kind}, "schema": {"const": version}, **required})


_FAULT: Final = _one_of(sorted({rule.fault.value for rule in FAULTS} | {f.value for f in Fault}))
_SEVERITY: Final = _one_of(severity.word for severity in Severity)
_RATE: Final = _one_of(FRAME_RATES)
_FIGURES: Final = {
    name: _or_null(_NUMBER)
    for name in (
        *("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs", "true_peak_max_dbtp"),
        *("sample_peak_max_dbfs", "rms_dbfs", "noise_floor_dbfs"),
    )
}
_FAILED: Final = _list(_object({"path": _TEXT, "reason": _TEXT}))
_TIMES: Final = {
    "onset_s": _NUMBER,
    **{name: _or_null(_NUMBER) for name in ("amber_s", "red_s", "end_s")},
}


def scan() -> Node:
    """`scan --json`: one take, or a list of them; and a line of `scan --json-lines`."""
    incident = {
        "track": _or_null(_TRACK),
        "fault": _FAULT,
        "severity": _SEVERITY,
        **_TIMES,
        "start_timecode": _or_null(_LABEL),
        "end_timecode": _or_null(_LABEL),
        "covered_by": _or_null(_TRACK),
        "detail": _TEXT,
    }
    some = {"tracks": _list(_TRACK), "part_of": _TEXT}
    offset = _object({"labels": {"type": "integer"}, "timecode": _TEXT})
    bits = _object({"hex": {"type": "string", "pattern": "^[0-9a-f]{8}$"}, "date": _or_null(_TEXT)})
    take = _object(
        {
            "path": _TEXT,
            "sample_rate_hz": _TRACK,
            "duration_s": _NUMBER,
            "start_timecode": _or_null(_LABEL),
            "timecode_from": _one_of(("ltc", "ltc free-running", "file", None)),
            "timecode_offset": _or_null(offset),
            "frame_rate": _RATE,
            "user_bits": _or_null(bits),
            "notices": _list(_TEXT),
        }
    )
    track = _object(
        {
            "track": _TRACK,
            "name": _TEXT,
            "kind": _one_of(kind.value for kind in Kind),
            "who": _or_null(_TEXT),
            "level": _one_of((*(level.value for level in PackLevel), None)),
            **_FIGURES,
            "present_fraction": _or_null(_SHARE),
        }
    )
    who = _object(
        {
            "who": _TEXT,
            "covered_fraction": _or_null(_SHARE),
            "uncovered": _list({"type": "array", "items": _NUMBER, "minItems": 2, "maxItems": 2}),
        }
    )
    mark = _object(
        {
            "track": _TRACK,
            "what": _one_of((GAIN, *(word.value for word in Disturbing))),
            "from_s": _NUMBER,
            "until_s": _NUMBER,
            "level_dbfs": _or_null(_NUMBER),
            "start_timecode": _or_null(_LABEL),
            "end_timecode": _or_null(_LABEL),
            "text": _TEXT,
        }
    )
    found = {
        "take": take,
        "tracks": _list(track),
        "incidents": _list(_object(incident, some)),
        "marks": _list(mark),
        **{name: _list(node) for name, node in _beside().items() if name in ("signs", "pickups")},
        "who": _list(who),
        "failed": _FAILED,
    }
    one = _document("scan", SCAN, found)
    several = _document("scan", SCAN, {"takes": _list(one), "failed": _FAILED})
    line = _document("take", SCAN, found)
    event = _document("incident", SCAN, {"path": _TEXT, **incident})
    return {"anyOf": [one, several, line, event]}


def _beside() -> dict[str, Node]:
    """What a session has beside its alarms, an item of each kind."""
    label = _or_null(_LABEL)
    sign = {"kind": _one_of(kind.value for kind in SignKind), "tracks": _list(_TRACK)}
    sign |= dict.fromkeys(("since_s", "told_s", "normal", "now"), _NUMBER)
    pickup = {"who": _TEXT, "track": _TRACK, "at_s": _NUMBER, "seconds": _COUNT, "guess": _TRUTH}
    pickup |= dict.fromkeys(("over_db", "gain_db", "delay_ms"), _NUMBER)
    times = {name: _or_null(_NUMBER) for name in ("battery_s", "seen_s", "mended_s")}
    kit = {"what": _TEXT, "name": _TEXT, "failures": _COUNT, "faults": _list(_TEXT)}
    return {
        "signs": _object({**sign, "until_s": _or_null(_NUMBER), "timecode": label}),
        "pickups": _object({**pickup, "timecode": label}),
        "listened": _object(
            {
                **{"track": _TRACK, "from_s": _NUMBER, "at_s": _NUMBER, "word": _TEXT},
                "right": _or_null(_TRUTH),
            }
        ),
        "kit": _object(
            {**kit, "first_s": _NUMBER, **times, "earlier": _or_null(_COUNT), "done": _list(_TEXT)}
        ),
    }


def report() -> Node:
    """`report --json` and the JSON of `scan --report`."""
    span = {
        "in_s": _NUMBER,
        "out_s": _NUMBER,
        "timecode_in": _or_null(_LABEL),
        "timecode_out": _or_null(_LABEL),
    }
    note = _object({"at_s": _NUMBER, "text": _TEXT, "by": _TEXT, "timecode": _or_null(_LABEL)})
    beside = _beside()
    incident = _object(
        {
            "number": _TRACK,
            "track": _or_null(_TRACK),
            "tracks": _list(_TRACK),
            "fault": _FAULT,
            "severity": _SEVERITY,
            "uncovered": _TRUTH,
            "spoils": _TRUTH,
            **span,
            "ended": _TRUTH,
            "detail": _TEXT,
            "part_of": _or_null(_TEXT),
            "use_instead": _list(_object({**span, "track": _or_null(_TRACK)})),
            "done": _list(note),
            "signs_before": _list(beside["signs"]),
            "heard_on": _or_null(beside["pickups"]),
        }
    )
    track = {"track": _TRACK, "name": _TEXT, "kind": _one_of(k.value for k in Kind), "who": _TEXT}
    who = _object(
        {
            "who": _TEXT,
            "tracks": _list(_TRACK),
            "covered_fraction": _or_null(_SHARE),
            "stretches": _list(_object({**span, "use": _or_null(_TRACK)})),
        }
    )
    section = _object(
        {
            "name": _TEXT,
            "fields": {"type": "object", "additionalProperties": _TEXT},
            "sample_rate_hz": _TRACK,
            "duration_s": _NUMBER,
            "frame_rate": _RATE,
            "start_timecode": _or_null(_LABEL),
            "timecode_from": _one_of(("ltc", "ltc free-running", "file", "time of day", None)),
            "timecode_offset": _or_null(_TEXT),
            "user_bits": _or_null(_TEXT),
            "missed": _list(_TEXT),
            "breaks": _list(_object({**span, "text": _TEXT, "lost": _TRUTH})),
            "incidents": _list(incident),
            "tracks": _list(_object({**track, **_FIGURES, "present_fraction": _or_null(_SHARE)})),
            "who": _list(who),
            **{name: _list(note) for name in ("marks", "line_check", "batteries")},
            "alarms": _object({"alarms": _COUNT, "red": _COUNT, "per_hour": _or_null(_NUMBER)}),
            **{name: _list(node) for name, node in beside.items()},
        }
    )
    return _document(
        "report",
        REPORT,
        {
            "title": _TEXT,
            "heading": {"type": "object", "additionalProperties": _TEXT},
            "made_by": _TEXT,
            "failed": _FAILED,
            "sections": _list(section),
        },
    )


def watch() -> Node:
    """A line of `watch --json-lines` and of `replay --json-lines`."""
    incident = {
        "id": _COUNT,
        "track": _or_null(_TRACK),
        "tracks": _list(_TRACK),
        "fault": _FAULT,
        "severity": _SEVERITY,
        **_TIMES,
        "covered_by": _or_null(_TRACK),
        "uncovered": _TRUTH,
        "detail": _TEXT,
        "part_of": _or_null(_TEXT),
    }
    track = {"track": _TRACK, "name": _TEXT, "kind": _one_of(k.value for k in Kind), "who": _TEXT}
    labelled = _object({**incident, "start_timecode": _LABEL})
    seconds = {"watched_s": _NUMBER, "lost_s": _NUMBER}
    begin = {"source": _TEXT, "frame_rate": _RATE, "tracks": _list(_object(track))}
    event = {
        "event": _one_of(kind.value for kind in EventKind),
        "at_s": _NUMBER,
        "timecode": _or_null(_LABEL),
        "state": _one_of(state.value for state in AlarmState),
        "incident": _object(incident),
    }
    return {
        "anyOf": [
            _document("watch", WATCH, begin),
            _document("event", WATCH, event),
            _document("notice", WATCH, {"text": _TEXT}),
            _document("end", WATCH, {**seconds, "incidents": _list(labelled)}),
        ]
    }


def sessions() -> Node:
    """`sessions --json`."""
    row = {
        "name": _TEXT,
        "folder": _TEXT,
        "utc": _TEXT,
        "watched_s": _NUMBER,
        "source": _TEXT,
        "title": _TEXT,
        "tracks": _COUNT,
        "reds": _COUNT,
        "state": _one_of(("running", "ended", "broken off")),
        "drill": _or_null(_TEXT),
    }
    listed = {"sessions": _list(_object(row)), "failed": _list(_TEXT)}
    return _document("sessions", LISTING, listed)


def devices() -> Node:
    """`devices --json`."""
    row = {
        "index": _COUNT,
        "name": _TEXT,
        "host_api": _TEXT,
        "channels": _TRACK,
        "default_rate_hz": _NUMBER,
    }
    return _document("devices", LISTING, {"devices": _list(_object(row))})


def plan_check() -> Node:
    """`plan check --json`."""
    mistake = _object({"line": _COUNT, "key": _TEXT, "message": _TEXT})
    return _document(
        "plan check", LISTING, {"path": _TEXT, "tracks": _COUNT, "mistakes": _list(mistake)}
    )


SCHEMAS: Final[Mapping[str, Callable[[], Node]]] = {
    "scan": scan,
    "report": report,
    "watch": watch,
    "sessions": sessions,
    "devices": devices,
    "plan-check": plan_check,
}


def schema(name: str) -> Node:
    """The schema of that document; KeyError where there is no such document."""
    return {"$schema": DRAFT, "title": f"trackwarden {name}", **SCHEMAS[name]()}
