"""The JSON documents of `scan`, as plain Python values; engine/CONTRACT.md promises their keys."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from engine.model.messages import Incident
from engine.model.pickups import Pickup
from engine.model.units import stated
from engine.pipeline.own_marks import OwnMark
from engine.pipeline.scan_result import ScanResult, timecode_source
from engine.session.records import SignRecord
from engine.timecode import user_bits
from engine.timecode.clock import TimecodeClock
from engine.timecode.labels import difference, first_after

KIND: Final = "scan"
SCHEMA: Final = 2
"""Version of the documents; raised when a script that reads them would have to change."""


@dataclass(frozen=True, slots=True)
class Failure:
    """A take that could not be read, and why, in one line."""

    path: str
    reason: str

    def as_json(self) -> dict[str, str]:
        """The same as plain values."""
        return {"path": self.path, "reason": self.reason}


def documents(
    results: Sequence[ScanResult], failures: Sequence[Failure], takes: int
) -> dict[str, Any]:
    """What was found in so many takes: one alone has its own document, several are listed."""
    failed = [failure.as_json() for failure in failures]
    if takes == 1 and results:
        return document(results[0])
    listed = [document(result) for result in results]
    return {"kind": KIND, "schema": SCHEMA, "takes": listed, "failed": failed}


def document(result: ScanResult) -> dict[str, Any]:
    """What was found in one take."""
    indices = range(len(result.plan.tracks))
    return {
        "kind": KIND,
        "schema": SCHEMA,
        "take": take_json(result),
        "tracks": [track_json(result, track_index) for track_index in indices],
        "incidents": [incident_json(incident, result.clock) for incident in result.incidents],
        "marks": [_mark_json(mark, result.clock) for mark in result.marks],
        "signs": [_sign_json(sign, result.clock) for sign in result.signs],
        "pickups": [pickup_json(one, _label(one.last_s, result.clock)) for one in result.pickups],
        "who": _who_json(result),
        "failed": [],
    }


def take_json(result: ScanResult) -> dict[str, Any]:
    """The take itself: how long, which timecode, and what the user should know of it."""
    origin, ahead = result.timecode_from, result.clock.ahead_of_reference()
    bits = result.clock.user_bits
    rate = result.clock.rate_at(0.0)
    return {
        "path": result.path,
        "sample_rate_hz": result.info.sample_rate_hz,
        "duration_s": round(result.duration_s, 6),
        "start_timecode": result.timecode(0.0) if origin else None,
        "timecode_from": origin,
        "timecode_offset": {"labels": ahead, "timecode": difference(ahead, rate)}
        if ahead
        else None,
        "frame_rate": result.frame_rate,
        "user_bits": None
        if bits is None
        else {"hex": user_bits.as_text(bits), "date": user_bits.date_in(bits)},
        "notices": list(result.notices),
    }


def _mark_json(mark: OwnMark, clock: TimecodeClock) -> dict[str, Any]:
    labelled = timecode_source(clock) is not None
    return {
        "track": mark.track,
        "what": mark.what,
        "from_s": round(mark.from_s, 4),
        "until_s": round(mark.until_s, 4),
        "level_dbfs": None if mark.level_dbfs is None else round(mark.level_dbfs, 2),
        "start_timecode": clock.label_at(mark.from_s)[0] if labelled else None,
        "end_timecode": clock.label_at(mark.until_s)[0] if labelled else None,
        "text": mark.text,
    }


def _sign_json(sign: SignRecord, clock: TimecodeClock) -> dict[str, Any]:
    return {
        "kind": sign.kind.value,
        "tracks": list(sign.tracks),
        **{name: round(getattr(sign, name), 2) for name in ("since_s", "told_s", "normal", "now")},
        "until_s": _seconds(sign.until_s),
        "timecode": _label(sign.since_s, clock),
    }


def pickup_json(one: Pickup, timecode: str | None) -> dict[str, Any]:
    """Ten seconds of a performer on another track, up to `at_s`."""
    return {
        "at_s": round(one.last_s, 1),
        "who": one.who,
        "track": one.track,
        "over_db": round(one.over_db, 1),
        "gain_db": round(one.gain_db, 1),
        "delay_ms": round(1000.0 * one.delay_s, 2),
        "seconds": one.seconds,
        "guess": one.guess,
        "timecode": timecode,
    }


def _label(at_s: float, clock: TimecodeClock) -> str | None:
    """The label of that moment; None where nothing tells the time."""
    return None if timecode_source(clock) is None else clock.label_at(at_s)[0]


def _who_json(result: ScanResult) -> list[dict[str, Any]]:
    return [
        {
            "who": who.who,
            "covered_fraction": _share(who.covered_fraction),
            "uncovered": [[round(s.start_s, 4), round(s.end_s, 4)] for s in who.uncovered],
        }
        for who in result.coverage().whos()
    ]


def track_json(result: ScanResult, track_index: int) -> dict[str, Any]:
    """One track and its figures."""
    track, totals = result.plan.tracks[track_index], result.totals
    return {
        "track": track.input,
        "name": track.label,
        "kind": track.kind.value,
        "who": track.who or None,
        "level": track.level.value if track.level else None,
        "integrated_lufs": _number(totals.integrated_lufs[track_index]),
        "momentary_max_lufs": _number(totals.momentary_max_lufs[track_index]),
        "short_term_max_lufs": _number(totals.short_term_max_lufs[track_index]),
        "true_peak_max_dbtp": _number(totals.true_peak_max_dbtp[track_index]),
        "sample_peak_max_dbfs": _number(totals.sample_peak_max_dbfs[track_index]),
        "rms_dbfs": _number(totals.rms_dbfs[track_index]),
        "noise_floor_dbfs": _number(totals.noise_floor_dbfs[track_index]),
        "present_fraction": _share(float(totals.present_fraction[track_index])),
    }


def incident_line(path: str, incident: Incident, clock: TimecodeClock) -> dict[str, Any]:
    """One incident as a document of its own: a line of `--json-lines`."""
    return {
        "kind": "incident",
        "schema": SCHEMA,
        "path": path,
        **incident_json(incident, clock),
    }


def incident_json(incident: Incident, clock: TimecodeClock) -> dict[str, Any]:
    """One incident of a take that is labelled by that clock."""

    def label(at_s: float) -> str:
        return clock.label_at(at_s)[0]

    labelled = timecode_source(clock) is not None
    end_s = incident.end_s
    document: dict[str, Any] = {
        "track": incident.track,
        "fault": incident.fault.value,
        "severity": incident.severity.word,
        "onset_s": round(incident.onset_s, 4),
        "amber_s": _seconds(incident.amber_s),
        "red_s": _seconds(incident.red_s),
        "end_s": _seconds(end_s),
        "start_timecode": label(incident.onset_s) if labelled else None,
        "end_timecode": None
        if end_s is None or not labelled
        else first_after(label, end_s, clock.rate_at(end_s)),
        "covered_by": incident.covered_by,
        "detail": incident.detail,
    }
    if incident.tracks:
        document["tracks"] = list(incident.tracks)
    if incident.part_of is not None:
        document["part_of"] = incident.part_of
    return document


def _number(level_db: float) -> float | None:
    value = stated(float(level_db))
    return None if value is None else round(value, 2)


def _share(share: float | None) -> float | None:
    return None if share is None or math.isnan(share) else round(share, 4)


def _seconds(at_s: float | None) -> float | None:
    return None if at_s is None else round(at_s, 4)
