"""A section of a report from the scan of one take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from engine.model.tracks import Track
from engine.pipeline.scan import ScanResult
from engine.report.content.excerpts import Opener, Progress, read_excerpts
from engine.report.content.report_data import Section, TrackFigures
from engine.report.content.sections import entries, pictured, with_excerpts
from engine.timecode.clock import Origin

_FROM: Final = {
    Origin.LTC: "the timecode track",
    Origin.FREE_RUNNING: "the timecode track, free-running",
    Origin.FILE: "the file's time reference",
    Origin.TIME_OF_DAY: "the time of day",
}
_FIELDS: Final = (
    *("project", "scene", "take", "tape", "circled", "note"),
    *("description", "originator", "date", "time", "ubits"),
)
"""Of the sound report, in the order to show."""

_NO_REFERENCE: Final = "the take's start (the file has no time reference)"


def section_of_scan(result: ScanResult) -> Section:
    """The section, without excerpts: see `with_sound`."""
    coverage = result.coverage()
    fields = result.info.fields
    return Section(
        name=result.info.name,
        plan=result.plan,
        sample_rate_hz=result.info.sample_rate_hz,
        duration_s=result.duration_s,
        frame_rate=result.frame_rate,
        timecode=result.timecode,
        timecode_from=timecode_from(result),
        entries=entries(result.plan, result.incidents, coverage, {}),
        tracks=_figures(result),
        whos=coverage.whos(),
        history=result.history,
        fields={key: fields[key] for key in _FIELDS if fields.get(key)},
        start_s=result.info.start_s or 0.0,
        honest=tuple(_honest(result)),
    )


def timecode_from(result: ScanResult) -> str:
    """Where the labels come from, in words."""
    origin = result.clock.label_at(0.0)[1]
    if origin is Origin.FILE and result.info.start_samples is None:
        return _NO_REFERENCE
    return _FROM[origin]


def with_sound(section: Section, open_at: Opener, progress: Progress | None = None) -> Section:
    """The section with an excerpt for each incident that gets a picture.

    Raises
    ------
    SourceError
        Where the take can't be read any more.
    """
    excerpts = read_excerpts(pictured(section.entries), open_at, progress=progress)
    return replace(section, entries=with_excerpts(section.entries, excerpts))


def _honest(result: ScanResult) -> Sequence[str]:
    lines = list(result.info.notices)
    if result.audio_lost_s > 0.0:
        lines.insert(0, f"{result.audio_lost_s:.2f} s of audio could not be read")
    return lines


def _figures(result: ScanResult) -> tuple[TrackFigures, ...]:
    rows = result.as_json()["tracks"]
    keys = [key for key in TrackFigures.__slots__ if key != "track"]
    tracks: Sequence[Track] = result.plan.tracks
    return tuple(
        TrackFigures(track, **{key: row[key] for key in keys})
        for track, row in zip(tracks, rows, strict=True)
    )
