"""A recorded take: one multichannel file, or a folder of mono files, streamed in blocks."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Final

import numpy as np

from engine.model.messages import Block
from engine.model.safe_text import harmless
from engine.sources.base import EndOfTake, SourceError, SourceInfo
from engine.sources.read_ahead import ReadAhead
from engine.sources.sound_file import FLAC_SUFFIXES, WAV_SUFFIXES, SoundFile, open_sound_file
from engine.sources.wav_header import MAX_CHANNELS

BLOCK_S: Final = 0.5
READ_AHEAD_BLOCKS: Final = 3
_MAX_BLOCK_BYTES: Final = 4 << 20
"""Of a block whose frames were not asked for: bounds memory at any number of tracks."""

_TRACK_SUFFIXES: Final = (*WAV_SUFFIXES, *FLAC_SUFFIXES)
_OTHER_AUDIO: Final = (
    *(".aif", ".aiff", ".aifc", ".caf", ".w64", ".sd2", ".snd", ".au"),
    *(".mp3", ".m4a", ".aac", ".ogg", ".opus", ".wma", ".mxf", ".mp4", ".mov"),
)


class TakeSource:
    """Blocks of a take from `first_frame` on, the last one shorter.

    Samples are float32 in memory contiguous along frames. Memory does not grow with the take.
    """

    def __init__(
        self,
        files: tuple[SoundFile, ...],
        info: SourceInfo,
        first_frame: int,
        block_frames: int,
        read_ahead: int,
    ) -> None:
        self.info = info
        self.first_frame = first_frame
        self._files = files
        self._place = first_frame
        self._frames = files[0].frames
        self._block_frames = block_frames
        self._ahead = ReadAhead(self._next, read_ahead) if read_ahead else None
        self._failure: SourceError | EndOfTake | None = None

    def read(self, timeout_s: float) -> Block | None:
        """The next block; None where the disk gave nothing in that time. See `Source.read`."""
        if self._failure is not None:
            raise self._failure
        try:
            return self._ahead.get(timeout_s) if self._ahead is not None else self._next()
        except (SourceError, EndOfTake) as failure:
            self._failure = failure
            raise

    def close(self) -> None:
        """Stop reading ahead and close the files."""
        if self._ahead is not None:
            self._ahead.close()
        for file in self._files:
            file.close()

    def _next(self) -> Block:
        count = min(self._block_frames, self._frames - self._place)
        if count <= 0:
            raise EndOfTake
        by_channel = np.empty((self.info.channels, count), dtype=np.float32)
        row = 0
        for file in self._files:
            file.read_into(by_channel[row : row + file.channels], self._place)
            row += file.channels
        self._place += count
        return Block(by_channel.T)


def open_take(
    path: str | Path,
    from_s: float = 0.0,
    block_frames: int | None = None,
    read_ahead: int = READ_AHEAD_BLOCKS,
    block_s: float = BLOCK_S,
) -> TakeSource:
    """Open a take.

    Parameters
    ----------
    path : str or Path
        One WAV, RF64, BW64 or FLAC file, or a folder of mono files, which are its tracks in the
        order of their names.
    from_s : float
        Where to begin, seconds into the take.
    block_frames : int, optional
        Frames of a block; `block_s` where not given.
    read_ahead : int
        Blocks read ahead by a thread of their own; 0: read when asked.
    block_s : float
        Length of a block, seconds; less with very many tracks.

    Raises
    ------
    SourceError
        One line naming the file and what to do.
    """
    where = Path(path)
    with ExitStack() as undo:
        files = _open_files(where, undo.callback)
        info = _info(where, files)
        first_frame = round(from_s * info.sample_rate_hz)
        if not 0 <= first_frame < files[0].frames:
            length_s = files[0].frames / info.sample_rate_hz
            raise SourceError(f"{where}: can't begin at {from_s:g} s: it lasts {length_s:.1f} s")
        most = _MAX_BLOCK_BYTES // (4 * info.channels)
        block = block_frames or min(most, max(1, round(block_s * info.sample_rate_hz)))
        source = TakeSource(files, info, first_frame, block, read_ahead)
        undo.pop_all()
    return source


def _open_files(where: Path, undo: Callable[[Callable[[], None]], object]) -> tuple[SoundFile, ...]:
    paths = _tracks_in(where) if where.is_dir() else [where]
    files: list[SoundFile] = []
    for path in paths:
        file = open_sound_file(path)
        undo(file.close)
        files.append(file)
        if where.is_dir():
            _check_alike(file, files[0])
    return tuple(files)


def _tracks_in(folder: Path) -> list[Path]:
    """The folder's tracks in name order; what is no audio is a sidecar and left alone."""
    try:
        inside = sorted(p for p in folder.iterdir() if not p.name.startswith(".") and p.is_file())
    except OSError as error:
        raise SourceError(f"{folder}: can't be listed: check its rights") from error
    for path in inside:
        if path.suffix.lower() in _OTHER_AUDIO:
            raise SourceError(f"{path}: is no WAV or FLAC file: convert it or move it elsewhere")
    tracks = [p for p in inside if p.suffix.lower() in _TRACK_SUFFIXES]
    if not tracks:
        raise SourceError(f"{folder}: holds no WAV or FLAC files: give a take or its folder")
    if len(tracks) > MAX_CHANNELS:
        many = f"{len(tracks)} WAV and FLAC files, a take at most {MAX_CHANNELS}"
        raise SourceError(f"{folder}: holds {many}: give a folder for each take")
    return tracks


def _check_alike(file: SoundFile, first: SoundFile) -> None:
    if file.channels != 1:
        raise SourceError(
            f"{file.path}: has {file.channels} channels: a folder must hold mono files only; "
            "give a file of several channels by itself"
        )
    if file.sample_rate_hz != first.sample_rate_hz:
        raise SourceError(
            f"{file.path}: runs at {file.sample_rate_hz} Hz, {first.path.name} at "
            f"{first.sample_rate_hz} Hz: the tracks of one take must agree"
        )
    if file.frames != first.frames:
        raise SourceError(
            f"{file.path}: has {file.frames} frames, {first.path.name} has {first.frames}: "
            "the tracks of one take must have one length"
        )


def _info(where: Path, files: tuple[SoundFile, ...]) -> SourceInfo:
    first = files[0]
    start = first.metadata.start_samples
    return SourceInfo(
        name=harmless(where.name or str(where)),
        sample_rate_hz=first.sample_rate_hz,
        channels=sum(file.channels for file in files),
        channel_names=tuple(name for file in files for name in file.metadata.channel_names),
        frames=first.frames,
        start_s=None if start is None else start / first.sample_rate_hz,
        start_samples=start,
        frame_rate=first.metadata.frame_rate,
        fields=first.metadata.fields,
        notices=tuple(_notices(files)),
    )


def _notices(files: tuple[SoundFile, ...]) -> list[str]:
    notices = [
        f"{file.path.name} was never finished by its recorder: read as far as it is on disk, "
        f"{file.frames / file.sample_rate_hz:.1f} s"
        for file in files
        if file.unfinished
    ]
    if len({file.metadata.start_samples for file in files}) > 1:
        notices.append("the files state different start times: the first one's is used")
    names = [file.path.name for file in files]
    if names != sorted(names, key=_by_number):
        notices.append("tracks are in name order, so 10 comes before 2: " + ", ".join(names))
    return [harmless(notice) for notice in notices]


def _by_number(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdecimal() else (0, part) for part in re.split(r"(\d+)", name)]
