"""A section of a report from the scan of one take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from engine.model.tracks import Track
from engine.pipeline.scan_document import track_json
from engine.pipeline.scan_result import ScanResult
from engine.report.content.beside_alarms import BesideAlarms
from engine.report.content.excerpts import Opener, Progress, read_excerpts
from engine.report.content.report_data import Note, Section, TrackFigures
from engine.report.content.sections import entries, pictured, with_beside, with_excerpts
from engine.report.content.take_words import TIMECODE_FROM, take_fields
from engine.timecode import user_bits
from engine.timecode.labels import difference


def section_of_scan(result: ScanResult) -> Section:
    """The section, without excerpts: see `with_sound`."""
    coverage, ahead = result.coverage(), result.clock.ahead_of_reference()
    aside = BesideAlarms(result.signs, result.pickups)
    return Section(
        name=result.info.name,
        plan=result.plan,
        sample_rate_hz=result.info.sample_rate_hz,
        duration_s=result.duration_s,
        frame_rate=result.frame_rate,
        timecode=result.timecode,
        timecode_from=timecode_from(result),
        entries=with_beside(entries(result.plan, result.incidents, coverage, {}), aside),
        beside=aside,
        tracks=_figures(result),
        whos=coverage.whos(),
        history=result.history,
        fields=take_fields(result.info.fields),
        start_s=result.info.start_s or 0.0,
        honest=tuple(_honest(result)),
        timecode_origin=result.timecode_from,
        timecode_offset=difference(ahead, result.clock.rate_at(0.0)) if ahead else "",
        user_bits=_user_bits(result.clock.user_bits),
        marks=tuple(Note(mark.from_s, mark.text, "", mark.track) for mark in result.marks),
        path=result.path,
    )


def _user_bits(bits: int | None) -> str:
    if bits is None:
        return ""
    date = user_bits.date_in(bits)
    return user_bits.as_text(bits) + (f" (date {date})" if date else "")


def timecode_from(result: ScanResult) -> str:
    """Where the labels come from, in words."""
    return TIMECODE_FROM[result.clock.label_at(0.0)[1]]


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
    lines = list(result.notices)
    if result.audio_lost_s > 0.0:
        lines.insert(0, f"{result.audio_lost_s:.2f} s of audio could not be read")
    return lines


def _figures(result: ScanResult) -> tuple[TrackFigures, ...]:
    rows = [track_json(result, track_index) for track_index in range(len(result.plan.tracks))]
    keys = [key for key in TrackFigures.__slots__ if key != "track"]
    tracks: Sequence[Track] = result.plan.tracks
    return tuple(
        TrackFigures(track, **{key: row[key] for key in keys})
        for track, row in zip(tracks, rows, strict=True)
    )
