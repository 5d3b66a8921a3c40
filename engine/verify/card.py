"""The files of a card or folder: which belong together as takes, and whether each is whole.

Nothing is ever written there.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import soundfile

from engine.model.safe_text import harmless
from engine.sources.base import SourceError, SourceInfo
from engine.sources.sound_file import FLAC_SUFFIXES, WAV_SUFFIXES
from engine.sources.take_files import Take, TakeFiles, files_of, path_of, takes_in
from engine.sources.take_grouping import natural
from engine.verify.result import Difference, Finding

_SOUND: Final = (*WAV_SUFFIXES, *FLAC_SUFFIXES)


def takes_of(paths: Sequence[Path]) -> tuple[list[Take], list[tuple[str, str]]]:
    """Takes among those files and folders, and what could not be looked into, with why.

    Folders are looked through to the bottom; one bad file leaves the others of its folder, and
    its take, where its track is silent.
    """
    takes: list[Take] = []
    failed: list[tuple[str, str]] = []

    def unreadable(error: OSError) -> None:
        reason = f"can't be listed ({error.strerror}): card pulled?"
        failed.append((harmless(str(error.filename)), reason))

    for path in paths:
        if not os.path.isdir(path):
            takes.append(path)
            continue
        for folder in sorted(Path(name) for name, _, _ in os.walk(path, onerror=unreadable)):
            try:
                found = _takes_of_folder(folder)
                takes += found
                for take in found:
                    failed += _damage(take)
            except OSError as error:
                unreadable(error)
    return takes, failed


def _damage(take: Take) -> list[tuple[str, str]]:
    damage = take.damage if isinstance(take, TakeFiles) else ()
    return [(harmless(str(path)), harmless(why.removeprefix(f"{path}: "))) for path, why in damage]


def _takes_of_folder(folder: Path) -> Sequence[Take]:
    files = sorted((p for p in folder.iterdir() if _is_sound(p)), key=natural)
    if not files:
        return []
    try:
        return takes_in(folder, damaged=True)
    except SourceError:
        return files  # each by itself: the bad one is named where it is read


def size_of(take: Take) -> int:
    """Bytes of that take's files together, at least 1; that where they can't be counted."""
    try:
        files = [file.path for part in files_of(take).parts for file in part]
        return max(sum(path.stat().st_size for path in files), 1)
    except (OSError, SourceError):
        return 1


def is_gone(take: Take) -> bool:
    """Its files can't even be looked at: not damaged, but no longer there."""
    path = path_of(take)
    try:
        if path.exists():
            return False
        return not any(p.is_file() for p in path.parent.iterdir() if p.stem.startswith(path.name))
    except OSError:
        return True


def _is_sound(path: Path) -> bool:
    return path.suffix.lower() in _SOUND and not path.name.startswith(".") and path.is_file()


def word_of(take: Take) -> str:
    """Word length of its samples, as libsndfile words it; "" where it can't say."""
    try:
        first = next(file.path for file in files_of(take).parts[0] if not file.damage)
        return str(soundfile.info(str(first)).subtype_info)
    except (OSError, SourceError, StopIteration, soundfile.SoundFileError):
        return ""


def file_findings(
    path: str, info: SourceInfo, word: str, fellows: Sequence[tuple[SourceInfo, str]]
) -> list[Finding]:
    """Whether that take is whole, and like the others of its card.

    word, fellows : word length of its samples; info and word length of all takes
    """
    findings = [
        Finding(Difference.UNFINISHED, notice, path)
        for notice in info.notices
        if "never finished" in notice
    ]
    forms = [(other.sample_rate_hz, other.channels, other_word) for other, other_word in fellows]
    own = (info.sample_rate_hz, info.channels, word)
    for n, unit in enumerate((" Hz", " channels", "")):
        usual = Counter(form[n] for form in forms).most_common(1)
        if usual and own[n] != usual[0][0]:
            text = f"{own[n]}{unit}, the other takes {usual[0][0]}{unit}"
            findings.append(Finding(Difference.UNLIKE_ITS_FELLOWS, text, path))
    return findings
