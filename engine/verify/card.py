"""The files of a card or folder: which belong together as takes, and whether each is whole.

Nothing is ever written there.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from engine.model.safe_text import harmless
from engine.sources.base import SourceError, SourceInfo
from engine.sources.sound_file import FLAC_SUFFIXES, WAV_SUFFIXES
from engine.sources.take_files import files_of, takes_in
from engine.sources.take_grouping import natural
from engine.verify.result import Difference, Finding

_SOUND: Final = (*WAV_SUFFIXES, *FLAC_SUFFIXES)


def takes_of(paths: Sequence[Path]) -> tuple[list[Path], list[tuple[str, str]]]:
    """Takes among those files and folders, and what could not be looked into, with why.

    Folders are looked through to the bottom; one bad file leaves the others of its folder.
    """
    takes: list[Path] = []
    failed: list[tuple[str, str]] = []
    for path in paths:
        try:
            folders = [p for p in (path, *sorted(path.rglob("*"))) if p.is_dir()]
        except OSError as error:
            failed.append(
                (harmless(str(path)), f"can't be listed ({error.strerror}): card pulled?")
            )
            continue
        for folder in folders:
            takes += _takes_of_folder(folder)
        if not folders:
            takes.append(path)
    return takes, failed


def _takes_of_folder(folder: Path) -> list[Path]:
    files = sorted((p for p in folder.iterdir() if _is_sound(p)), key=natural)
    if not files:
        return []
    try:
        return [take.path for take in takes_in(folder)]
    except SourceError:
        return files  # each by itself: the bad one is named where it is read


def size_of(take: Path) -> int:
    """Bytes of that take's files together, at least 1; that where they can't be counted."""
    try:
        files = [file.path for part in files_of(take).parts for file in part]
        return max(sum(path.stat().st_size for path in files), 1)
    except (OSError, SourceError):
        return 1


def _is_sound(path: Path) -> bool:
    return path.suffix.lower() in _SOUND and not path.name.startswith(".") and path.is_file()


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
