"""A recorded take, streamed in blocks, however many files it is made of."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from contextlib import ExitStack
from itertools import accumulate
from typing import Final

import numpy as np

from engine.model.messages import Block, Samples
from engine.model.safe_text import harmless
from engine.sources.base import EndOfTake, SourceError, SourceInfo
from engine.sources.read_ahead import ReadAhead
from engine.sources.sound_file import open_sound_file
from engine.sources.take_files import Take, TakeFiles, files_of
from engine.sources.take_grouping import FileFacts, Row

BLOCK_S: Final = 0.5
READ_AHEAD_BLOCKS: Final = 3
_PADDING_S: Final = 0.1
"""Shorter padding is not worth a word."""

_MAX_BLOCK_BYTES: Final = 4 << 20
"""Of a block whose frames were not asked for: bounds memory at any number of tracks."""


class _Damaged:
    """A file as far as it can be read, and silence after that."""

    def __init__(self, facts: FileFacts) -> None:
        self._readable = facts.readable_frames
        self._file = open_sound_file(facts.path) if self._readable else None

    def read_into(self, by_channel: Samples, at_frame: int) -> None:
        """See `SoundFile`."""
        by_channel[:] = 0.0
        here = min(by_channel.shape[1], self._readable - at_frame)
        if self._file is not None and here > 0:
            self._file.read_into(by_channel[:, :here], at_frame)

    def close(self) -> None:
        """Let go of the file."""
        if self._file is not None:
            self._file.close()


class FileChain:
    """Files that follow one another as if they were one; one of them is open at a time."""

    def __init__(self, parts: Row) -> None:
        self.channels = parts[0].channels
        self.frames = sum(part.frames for part in parts)
        self._parts = parts
        self._ends = list(accumulate(part.frames for part in parts))
        self._open_at(0)

    def _open_at(self, number: int) -> None:
        self._number = number
        part = self._parts[number]
        self._file = _Damaged(part) if part.damage else open_sound_file(part.path)

    def read_into(self, by_channel: Samples, at_frame: int) -> None:
        """Fill `by_channel`, shape (channels, frames), from that frame on; see `SoundFile`."""
        done, count = 0, by_channel.shape[1]
        while done < count:
            at = at_frame + done
            number = min(bisect_right(self._ends, at), len(self._parts) - 1)
            if number != self._number:
                self._file.close()
                self._open_at(number)
            begin = self._ends[number] - self._parts[number].frames
            here = min(count - done, max(self._ends[number] - at, 1))
            self._file.read_into(by_channel[:, done : done + here], at - begin)
            done += here

    def close(self) -> None:
        """Let go of the file that is open."""
        self._file.close()


class TakeSource:
    """Blocks of a take from `first_frame` on, the last one shorter.

    Samples are float32 in memory contiguous along frames. Memory does not grow with the take.
    """

    def __init__(
        self,
        files: Sequence[FileChain],
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
    path: Take,
    from_s: float = 0.0,
    block_frames: int | None = None,
    read_ahead: int = READ_AHEAD_BLOCKS,
    block_s: float = BLOCK_S,
) -> TakeSource:
    """Open a take.

    Parameters
    ----------
    path : str, Path or TakeFiles
        One WAV, RF64, BW64 or FLAC file, or a folder of files, or a folder with the name of one of
        the takes in it; see `take_files`. Files that were looked for before are taken as found.
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
    take = files_of(path)
    where = take.path
    info = _info(take)
    assert info.frames is not None
    first_frame = round(from_s * info.sample_rate_hz)
    if not 0 <= first_frame < info.frames:
        length_s = info.frames / info.sample_rate_hz
        raise SourceError(f"{where}: can't begin at {from_s:g} s: it lasts {length_s:.1f} s")
    with ExitStack() as undo:
        files: list[FileChain] = []
        for parts in take.chains:
            files.append(FileChain(parts))
            undo.callback(files[-1].close)
        most = _MAX_BLOCK_BYTES // (4 * info.channels)
        block = block_frames or min(most, max(1, round(block_s * info.sample_rate_hz)))
        source = TakeSource(files, info, first_frame, block, read_ahead)
        undo.pop_all()
    return source


def _info(take: TakeFiles) -> SourceInfo:
    row = take.parts[0]
    first = row[0]
    start, metadata = first.start, first.metadata
    names = tuple(name for file in row for name in file.metadata.channel_names)
    if len(row) > 1:
        names = tuple(
            name or harmless(file.path.stem) for name, file in zip(names, row, strict=True)
        )
    rates = {file.metadata.frame_rate for file in row}
    return SourceInfo(
        name=harmless(take.name),
        sample_rate_hz=first.sample_rate_hz,
        channels=len(names),
        channel_names=names,
        frames=sum(part[0].frames for part in take.parts),
        start_s=None if start is None else start / first.sample_rate_hz,
        start_samples=start,
        frame_rate=metadata.frame_rate if len(rates) == 1 else None,
        odd_rate=metadata.odd_rate,
        fields=metadata.fields,
        notices=tuple(_notices(take)),
    )


def _notices(take: TakeFiles) -> list[str]:
    files = [file for row in take.parts for file in row]
    notices = [
        f"{file.path.name} was never finished by its recorder: read as far as it is on disk, "
        f"{file.frames / file.sample_rate_hz:.1f} s"
        for file in files
        if file.unfinished
    ]
    notices += [
        f"{file.path.name} ends with {file.zeros_s:.1f} s of zeros after its audio: left out"
        for file in files
        if file.zeros_s > _PADDING_S
    ]
    return [harmless(notice) for notice in (*notices, *take.notices)]
