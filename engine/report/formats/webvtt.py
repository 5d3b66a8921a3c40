"""Markers as WebVTT chapters: time since the take's start.

Source: W3C WebVTT (cue timings with three decimals; "-->", "&" and "<" may not stand in a cue).
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from engine.report.content.markers import markers_of
from engine.report.content.report_data import Section

_MOMENT_S: Final = 1.0
"""A cue needs a length: how long a mark is shown."""


def webvtt(sections: Sequence[Section]) -> str:
    """The chapters of those takes, one take after the other."""
    blocks = ["WEBVTT"]
    begin_s = 0.0
    for section in sections:
        for marker in markers_of(section):
            end_s = marker.end_s if marker.end_s > marker.start_s else marker.start_s + _MOMENT_S
            span = f"{_time(begin_s + marker.start_s)} --> {_time(begin_s + end_s)}"
            take = f"{section.name}: " if len(sections) > 1 else ""
            text = escape(f"{take}{marker.text}", quote=False)
            blocks.append(f"{len(blocks)}\n{span}\n{text}")
        begin_s += section.duration_s
    return "\n\n".join(blocks) + "\n"


def _time(at_s: float) -> str:
    milliseconds = round(1000.0 * at_s)
    minutes, ms = divmod(milliseconds, 60_000)
    return f"{minutes // 60:02}:{minutes % 60:02}:{ms // 1000:02}.{ms % 1000:03}"
