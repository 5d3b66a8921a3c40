"""Writes the markers of takes as files that editing programs read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from engine.report.content.markers import file_stems
from engine.report.content.report_data import Section
from engine.report.formats.edl import edl
from engine.report.formats.otio import otio
from engine.report.formats.webvtt import webvtt

DAY = "day"
"""What the files of several takes together are called."""


def write_markers(sections: Sequence[Section], folder: Path) -> list[Path]:
    """OTIO, EDL and WebVTT of each take, and of all together where there are several.

    Raises
    ------
    OSError
        Where a file can't be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    taken = (DAY,) if len(sections) > 1 else ()
    for stem, section in zip(file_stems(sections, taken), sections, strict=True):
        written += _write(folder, stem, [section])
    if len(sections) > 1:
        written += _write(folder, DAY, sections)
    return written


def _write(folder: Path, stem: str, sections: Sequence[Section]) -> list[Path]:
    texts = {
        "otio": otio(sections, stem),
        "edl": edl(sections, stem),
        "vtt": webvtt(sections),
    }
    paths = []
    for kind, text in texts.items():
        path = folder / f"{stem}.{kind}"
        path.write_text(text, encoding="utf-8", newline="")
        paths.append(path)
    return paths
