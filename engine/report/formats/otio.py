"""Markers as an OpenTimelineIO timeline: the take as a clip, a marker with its range for each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from engine.report.content.markers import FrameCount, markers_of
from engine.report.content.report_data import Section

_COLOURS: Final = {"red": "RED", "purple": "PURPLE", "green": "GREEN", "yellow": "YELLOW"}


def otio(sections: Sequence[Section], title: str) -> str:
    """The timeline of those takes, one clip after the other, as JSON text."""
    import opentimelineio as library  # only here: nothing else needs it

    timeline = library.schema.Timeline(title)
    track = library.schema.Track(name="takes", kind=library.schema.TrackKind.Audio)
    timeline.tracks.append(track)
    for section in sections:
        track.append(_clip(library, section))
    if sections:
        count = FrameCount(sections[0])
        timeline.global_start_time = _time(library, count, count.first)
    return str(library.adapters.write_to_string(timeline, "otio_json"))


def _clip(library: Any, section: Section) -> Any:
    count = FrameCount(section)
    length = max(count.at(section.duration_s, out=True) - count.first, 1)
    whole = _range(library, count, count.first, length)
    if section.path:
        url = Path(section.path).absolute().as_uri()
        media = library.schema.ExternalReference(target_url=url, available_range=whole)
    else:
        media = library.schema.MissingReference(available_range=whole)
    fields = {"frame_rate": section.frame_rate, "timecode_from": section.timecode_from}
    fields |= dict(section.fields)
    clip = library.schema.Clip(section.name, media, whole, {"trackwarden": fields})
    for marker in markers_of(section):
        start = count.at(marker.start_s)
        end = count.at(marker.end_s, out=True) if marker.end_s > marker.start_s else start
        clip.markers.append(
            library.schema.Marker(
                name=marker.name,
                marked_range=_range(library, count, start, max(end - start, 0)),
                color=getattr(library.schema.MarkerColor, _COLOURS[marker.colour]),
                comment=marker.comment,
            )
        )
    return clip


def _time(library: Any, count: FrameCount, frame: int) -> Any:
    return library.opentime.RationalTime(frame, float(count.rate.rate))


def _range(library: Any, count: FrameCount, start: int, length: int) -> Any:
    return library.opentime.TimeRange(_time(library, count, start), _time(library, count, length))
