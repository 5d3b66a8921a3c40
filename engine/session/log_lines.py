"""Lines of the session log, each from what it describes."""

from __future__ import annotations

import json
from collections.abc import Sequence

from engine.model import dataclass_json
from engine.model.commands import Open, Watch
from engine.model.drill_truth import Truth
from engine.model.line_results import LineResult
from engine.model.tracks import Track
from engine.session.writer import LogLine, Stamp
from engine.sources.base import HOST_API, SourceInfo


def session_line(
    request: Open, info: SourceInfo, watch: Watch, plan_text: str, program: str, stamp: Stamp
) -> LogLine:
    """What the session was begun with; `program` is the version that runs it."""
    values = (
        stamp.utc_ms,
        program,
        watch.source,
        watch.live,
        info.sample_rate_hz,
        info.channels,
        info.fields.get(HOST_API, ""),
        watch.plan.frame_rate,
        watch.start_s,
        watch.plan.title,
        dataclass_json.dumps(request),
        plan_text,
    )
    return LogLine("session", values)


def inputs_line(second: int, inputs: Sequence[int]) -> LogLine:
    """Which inputs are watched from that second on."""
    return LogLine("inputs", (second, json.dumps(inputs)))


def track_line(track: Track) -> LogLine:
    """Its place among the tracks is its input: tracks may come and go."""
    return LogLine("track", (track.input, *track_values(track)))


def track_values(track: Track) -> tuple[int | str, ...]:
    """The columns that describe a track."""
    identity = (track.name, track.kind.value, track.who, track.level or "", track.pack)
    return (track.input, *identity, track.placement, track.receiver, track.battery)


def truth_line(t: Truth) -> LogLine:
    """A fault that a drill put in."""
    severity = None if t.severity is None else t.severity.word
    values = (t.onset_s, t.end_s, t.strength, severity, t.remark)
    return LogLine("drill fault", (t.number, t.cause.value, json.dumps(t.tracks), *values))


def line_check_line(result: LineResult, stamp: Stamp) -> LogLine:
    """What was decided of a track in a line check."""
    values = (
        result.track,
        result.verdict.value,
        result.note,
        dataclass_json.dumps(result.heard),
    )
    return LogLine("line check", (*values, *stamp.values))
