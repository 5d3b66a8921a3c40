"""The picture of one incident."""

from __future__ import annotations

from dataclasses import replace

from engine.report.layout.drawing import Drawing, Path, Words
from engine.report.layout.incident_picture import incident_picture
from engine.report.layout.palette import LEVEL
from tests.support.sample_report import excerpt, incident, section


def drawn(*, wave: bool) -> Drawing:
    """The picture of an incident at 100 s."""
    made = section([incident()])
    return incident_picture(replace(made.entries[0], excerpt=excerpt(95.0, wave=wave)), made)


def texts(drawing: Drawing) -> set[str]:
    """All that is written in it."""
    return {s.text for s in drawing.shapes if isinstance(s, Words)}


def test_it_says_what_and_when() -> None:
    """Track, fault, timecode, and the seconds around the onset."""
    written = texts(drawn(wave=True))
    assert "No. 1: 1 Foreman main, muted" in written
    assert "21:01:40:00, red, 30.0 s" in written
    assert {"onset", "−2 s", "+4 s"} <= written


def test_the_waveform_is_enlarged_to_a_round_scale() -> None:
    """A voice of 0.04 nearly fills the height, and the scale beside it says so."""
    assert {"+0.05", "−0.05"} <= texts(drawn(wave=True))


def test_without_a_waveform_none_is_drawn() -> None:
    """Only levels: no waveform, no scale for one."""
    drawing = drawn(wave=False)
    assert not [s for s in drawing.shapes if isinstance(s, Path) and s.fill == LEVEL]
    assert "+0.05" not in texts(drawing)
