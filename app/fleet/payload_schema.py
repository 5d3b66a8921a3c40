"""A JSON Schema (draft 2020-12) for each payload that a cart publishes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from app.fleet.cart_messages import SCHEMA
from app.models.whole_levels import LOWEST_DB
from engine.model.messages import Kind, Severity
from engine.report.formats.json_schema import DRAFT

Node = dict[str, Any]

_TEXT: Final[Node] = {"type": "string"}
_TRUTH: Final[Node] = {"type": "boolean"}
_COUNT: Final[Node] = {"type": "integer", "minimum": 0}
_INPUT: Final[Node] = {"type": "integer", "minimum": 1}
_SECONDS: Final[Node] = {"type": "number"}
_SINCE: Final[Node] = {"type": ["number", "null"]}
_SEVERITY: Final[Node] = {"enum": ["", *(severity.word for severity in Severity)]}
_TRACK: Final[Node] = {
    "type": "object",
    "required": ["name", "kind", "who", "pack", "place", "state", "severity", "since_s"],
    "properties": {
        **dict.fromkeys(("name", "who", "pack", "place", "state"), _TEXT),
        "kind": {"enum": [kind.value for kind in Kind]},
        "severity": _SEVERITY,
        "since_s": _SINCE,
    },
}


def _payload(**keys: Node) -> Node:
    """What every payload has, and these keys; keys may be added, nothing is closed."""
    whole = {"schema": {"const": SCHEMA}, "run": _TEXT, "seq": _COUNT, **keys}
    return {"type": "object", "required": list(whole), "properties": whole}


_STATE: Final = _payload(
    alive=_TRUTH,
    condition={"enum": ["watching", "silent", "ended"]},
    title=_TEXT,
    now_s=_SECONDS,
    timecode=_TEXT,
    rolling=_TRUTH,
    **{"break": _TRUTH},
    drill=_TRUTH,
    live=_TRUTH,
    tracks=_COUNT,
    red=_COUNT,
    amber=_COUNT,
    alarms={"type": "array", "items": _TEXT},
)
_GONE: Final = _payload(alive={"const": False})

SCHEMAS: Final[Mapping[str, Node]] = {
    "mqtt-state": {"anyOf": [_STATE, _GONE]},
    "mqtt-tracks": _payload(
        tracks={"type": "object", "propertyNames": {"pattern": "^[0-9]+$"}}
        | {"additionalProperties": _TRACK}
    ),
    "mqtt-levels": _payload(
        inputs={"type": "array", "items": _INPUT},
        dbfs={
            "type": "array",
            "items": {"type": "integer", "minimum": LOWEST_DB, "maximum": 0},
        },
    ),
    "mqtt-alarm": _payload(
        tracks={"type": "array", "items": _INPUT},
        severity=_SEVERITY,
        uncovered=_TRUTH,
        seen=_TRUTH,
        since_s=_SINCE,
        **dict.fromkeys(("numbers", "name", "fault", "where", "check", "cover", "attended"), _TEXT),
    ),
}


def schema(name: str) -> Node:
    """The schema of that payload; KeyError where there is no such payload."""
    return {"$schema": DRAFT, "title": f"trackwarden {name}", **SCHEMAS[name]}
