"""The files of a card or folder: which belong together as takes, and whether each is whole.

Nothing is ever written there.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from engine.model.safe_text import harmless
from engine.sources.base import SourceError, SourceInfo
from engine.sources.sound_file import FLAC_SUFFIXES, WAV_SUFFIXES, open_sound_file
from engine.sources.take import open_take
from engine.verify.result import Difference, Finding

_SOUND: Final = (*WAV_SUFFIXES, *FLAC_SUFFIXES)


def takes_in(paths: Sequence[Path]) -> tuple[list[Path], list[tuple[str, str]]]:
    """Takes among those files and folders, and what could not be looked into, with why.

    A folder that holds only mono files of one length is one take; else each file is one.
    """
    takes: list[Path] = []
    failed: list[tuple[str, str]] = []
    for path in paths:
        if not path.is_dir():
            takes.append(path)
            continue
        try:
            folders = sorted(p for p in [path, *path.rglob("*")] if p.is_dir())
            for folder in folders:
                takes += _takes_of_folder(folder)
        except OSError as error:
            failed.append((harmless(str(path)), f"can't be read ({error.strerror}): card pulled?"))
    return takes, failed


def _takes_of_folder(folder: Path) -> list[Path]:
    files = sorted(
        p
        for p in folder.iterdir()
        if p.suffix.lower() in _SOUND and not p.name.startswith(".") and p.is_file()
    )
    if len(files) > 1 and _are_tracks_of_one_take(folder, files):
        return [folder]
    return files


def _are_tracks_of_one_take(folder: Path, files: Sequence[Path]) -> bool:
    try:
        for path in files:
            file = open_sound_file(path)
            file.close()
            if file.channels != 1:
                return False
        open_take(folder, read_ahead=0).close()
    except SourceError:
        return False
    return True


def file_findings(path: str, info: SourceInfo, fellows: Sequence[SourceInfo]) -> list[Finding]:
    """Whether that take is whole, and like the others of its card."""
    findings = [
        Finding(Difference.UNFINISHED, notice, path)
        for notice in info.notices
        if "never finished" in notice
    ]
    rates = [other.sample_rate_hz for other in fellows]
    usual = max(set(rates), key=rates.count) if rates else info.sample_rate_hz
    if info.sample_rate_hz != usual:
        text = f"{info.sample_rate_hz} Hz, the other takes {usual} Hz"
        findings.append(Finding(Difference.UNLIKE_ITS_FELLOWS, text, path))
    counts = [other.channels for other in fellows]
    many = max(set(counts), key=counts.count) if counts else info.channels
    if info.channels != many:
        text = f"{info.channels} channels, the other takes {many}"
        findings.append(Finding(Difference.UNLIKE_ITS_FELLOWS, text, path))
    return findings
