"""Finds the files of a take: its tracks side by side, its parts one after the other.

A recorder writes a take as one file of all tracks or as a file a track, and may split either into
parts; which belong together is told by `take_grouping`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from engine.sources.base import SourceError
from engine.sources.sound_file import FLAC_SUFFIXES, WAV_SUFFIXES, open_sound_file
from engine.sources.take_grouping import FileFacts, Row, goes_on, grouped, natural

_TRACK_SUFFIXES: Final = (*WAV_SUFFIXES, *FLAC_SUFFIXES)
_OTHER_AUDIO: Final = (
    *(".aif", ".aiff", ".aifc", ".caf", ".w64", ".sd2", ".snd", ".au"),
    *(".mp3", ".m4a", ".aac", ".ogg", ".opus", ".wma", ".mxf", ".mp4", ".mov"),
)
MOST_FILES: Final = 4096
_NUMBERED: Final = re.compile(r"(.*?)[ _.-]*(\d+)")


@dataclass(frozen=True, slots=True)
class TakeFiles:
    """One take: parts follow one another, each of them files side by side.

    path : how the take is named by the user: a file, a folder, or a folder and a name in it
    """

    path: Path
    name: str
    parts: tuple[Row, ...]
    notices: tuple[str, ...] = ()

    @property
    def damage(self) -> tuple[tuple[Path, str], ...]:
        """Its files that are not whole, and why."""
        return tuple((file.path, file.damage) for row in self.parts for file in row if file.damage)

    @property
    def chains(self) -> tuple[Row, ...]:
        """The same by track: each file with those that go on from it."""
        return tuple(zip(*self.parts, strict=True))


Take = str | Path | TakeFiles
"""What names a take: its path, or its files where they were looked for before."""


def path_of(take: Take) -> Path:
    """How the take is named."""
    return take.path if isinstance(take, TakeFiles) else Path(take)


def files_of(take: Take) -> TakeFiles:
    """The files of that one take; as they are where they were looked for before.

    Raises
    ------
    SourceError
        Where there is none, or several: then it names them.
    """
    if isinstance(take, TakeFiles):
        return take
    path = Path(take)
    takes = takes_in(path)
    if len(takes) == 1:
        return takes[0]
    names = ", ".join(take.name for take in takes)
    raise SourceError(f"{path}: holds {len(takes)} takes, {names}: name one, {takes[0].path}")


def takes_in(path: Path, *, damaged: bool = False) -> tuple[TakeFiles, ...]:
    """Every take of a folder, in the order of their starts or names; of a file its own.

    damaged : a mono file that can't be read, or is not as long as those beside it, is a track that
        is silent where it lacks; its `FileFacts` say why

    Raises
    ------
    SourceError
        Where one of the files can't be read, or they don't make up takes; one line.
    """
    if path.is_dir():
        files = _with_damaged(_audio_in(path)) if damaged else map(facts_of, _audio_in(path))
        return tuple(_named(path, grouped(list(files), path)))
    if _names_a_take(path):
        takes = takes_in(path.parent)
        return tuple(take for take in takes if take.name == path.name) or (_lone(path),)
    return (_lone(path),)


def _names_a_take(path: Path) -> bool:
    """No file, but the begin of the names of some in its folder."""
    with suppress(OSError):
        if path.name and not path.exists() and path.parent.is_dir():
            return any(p.stem.startswith(path.name) for p in path.parent.iterdir())
    return False


def facts_of(path: Path) -> FileFacts:
    """What that file says before its first frame; SourceError where it can't be read."""
    file = open_sound_file(path)
    file.close()
    return FileFacts(
        path,
        file.sample_rate_hz,
        file.channels,
        file.frames,
        file.metadata,
        file.unfinished,
        file.zeros_s,
    )


def _with_damaged(paths: Sequence[Path]) -> list[FileFacts]:
    """The same of all files, those that are not whole as parts of the takes of their fellows."""
    files: list[FileFacts] = []
    unread: list[tuple[Path, str]] = []
    for path in paths:
        try:
            files.append(facts_of(path))
        except SourceError as error:
            unread.append((path, str(error)))
    if unread:
        takes = grouped(files, paths[0].parent)
        files += [_stand_in(path, why, takes) for path, why in unread]
    usual = [_usual_frames(file, files) for file in files]
    return [
        file
        if file.channels != 1 or file.damage or file.frames == frames
        else replace(
            file, damage=_odd_length(file, frames), frames=frames, readable_frames=file.frames
        )
        for file, frames in zip(files, usual, strict=True)
    ]


def _stand_in(path: Path, why: str, takes: Sequence[Sequence[Row]]) -> FileFacts:
    """A track of the take of mono files that its name belongs to; SourceError where none is."""
    for parts in takes:
        files = [file for row in parts for file in row]
        alone = len(takes) == 1 and _shared([file.path.stem for file in files]) == ""
        belongs = alone or path.stem.startswith(_common_name(parts))
        if len(files) > 1 and files[0].channels == 1 and belongs:
            metadata = replace(files[0].metadata, channel_index=None, channel_names=("",))
            return replace(
                files[0], path=path, metadata=metadata, unfinished=False, zeros_s=0.0, damage=why
            )
    raise SourceError(why)


def _usual_frames(file: FileFacts, files: Sequence[FileFacts]) -> int:
    """The length of most mono files whose names differ from this one's in their last part."""
    head = _NUMBERED.fullmatch(file.path.stem)
    if file.channels != 1 or head is None:
        return file.frames
    alike = [other for other in files if other.path.stem.startswith(head[1])]
    counts = Counter(other.frames for other in alike if other.channels == 1)
    frames, count = counts.most_common(1)[0]
    return frames if 2 * count > len(alike) > 2 else file.frames


def _odd_length(file: FileFacts, frames: int) -> str:
    lasts, whole = (n / file.sample_rate_hz for n in (file.frames, frames))
    return f"{file.path}: lasts {lasts:.1f} s, the files beside it {whole:.1f} s"


def _lone(path: Path) -> TakeFiles:
    """One file, with the parts that go on from it beside it."""
    first = facts_of(path)
    parts = [first]
    numbered = _NUMBERED.fullmatch(path.stem)
    while numbered is not None and first.start is not None:
        digits = numbered[2]
        stem = path.stem.removesuffix(digits)
        following = path.with_name(f"{stem}{int(digits) + len(parts):0{len(digits)}}{path.suffix}")
        try:
            after = facts_of(following)
        except SourceError:
            break
        if not goes_on((parts[-1],), (after,)):
            break
        parts.append(after)
    notices: tuple[str, ...] = ()
    if len(parts) > 1:
        names = ", ".join(part.path.name for part in parts[1:])
        notices = (f"read with what goes on from it: {names}",)
    return TakeFiles(path, path.name or str(path), tuple((part,) for part in parts), notices)


def _audio_in(folder: Path) -> list[Path]:
    """The folder's sound files in natural order; what is no audio is a sidecar and left alone."""
    try:
        inside = [p for p in folder.iterdir() if not p.name.startswith(".") and p.is_file()]
    except OSError as error:
        raise SourceError(f"{folder}: can't be listed: check its rights") from error
    inside.sort(key=natural)
    for path in inside:
        if path.suffix.lower() in _OTHER_AUDIO:
            raise SourceError(f"{path}: is no WAV or FLAC file: convert it or move it elsewhere")
    audio = [p for p in inside if p.suffix.lower() in _TRACK_SUFFIXES]
    if not audio:
        raise SourceError(f"{folder}: holds no WAV or FLAC files: give a take or its folder")
    if len(audio) > MOST_FILES:
        many = f"{len(audio)} WAV and FLAC files, {MOST_FILES} at most"
        raise SourceError(f"{folder}: holds {many}: give a folder for each take")
    return audio


# ---- names ---------------------------------------------------------------------------------------


def _named(folder: Path, takes: Sequence[Sequence[Row]]) -> Iterable[TakeFiles]:
    """Each take with a name of its own in that folder; one alone has the folder's."""
    used: set[str] = set()
    for parts in takes:
        name = folder.name or str(folder)
        path = folder
        if len(takes) > 1:
            name = _common_name(parts)
            if name in used:
                name = parts[0][0].path.stem
            used.add(name)
            path = folder / name
        yield TakeFiles(path, name, tuple(parts), tuple(_notices(parts)))


def _common_name(parts: Sequence[Row]) -> str:
    stems = [file.path.stem for row in parts for file in row]
    if len(stems) == 1:
        return stems[0]
    return _shared(stems).rstrip(" _.-") or stems[0]


def _shared(stems: Sequence[str]) -> str:
    """What all of them begin with."""
    shortest, longest = min(stems), max(stems)
    common = next(
        (n for n, (a, b) in enumerate(zip(shortest, longest, strict=False)) if a != b),
        len(shortest),
    )
    return shortest[:common]


def _notices(parts: Sequence[Row]) -> Iterable[str]:
    if len(parts) > 1:
        names = ", ".join(row[0].path.name for row in parts)
        how = "by their names" if parts[0][0].start is None else "by their time references"
        yield f"parts that follow one another, {how}: {names}"
    if len({file.start for file in parts[0]}) > 1:
        yield "the files state different start times: the first one's is used"
