"""A take that is still being written, watched as it grows: a recorder's mirror on a shared disk."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from engine.model.messages import Block
from engine.sources.base import EndOfTake, SourceError, SourceInfo
from engine.sources.sound_file import WAV_SUFFIXES, WavFile, open_sound_file
from engine.sources.take_grouping import natural

BEHIND_S: Final = 3.0
"""Recorders write in bursts: the newest sound is kept so long, and handed out as time goes by."""

BLOCK_S: Final = 0.1
CHECK_S: Final = 0.25
"""How often the files are looked at anew."""

FINISHED_S: Final = 4.0
"""A file whose header is whole, and that did not grow for this long, is finished."""


class GrowingTake:
    """Blocks of a WAV file, or a folder of mono WAV files, up to where they are written by now.

    What is older than `BEHIND_S` comes at once, the rest in real time. While nothing more is
    written, nothing comes; the take ends once its recorder has closed it.

    Parameters
    ----------
    path : str or Path
    from_s : float
    clock, sleep : callable
        Seconds on a steady scale, and how to wait.

    Raises
    ------
    SourceError
        Where the files can't be opened, or are no WAV files.
    """

    def __init__(
        self,
        path: str | Path,
        from_s: float,
        clock: Callable[[], float],
        sleep: Callable[[float], None],
    ) -> None:
        self._path = Path(path)
        self._clock, self._sleep = clock, sleep
        self._files = _open(self._path)
        first = self._files[0]
        self._rate_hz = first.sample_rate_hz
        self.info = _info(self._path, self._files)
        self._at = round(from_s * self._rate_hz)
        self._there, self._whole = self._look()
        self._looked_at = self._grew_at = self._handed_at = clock()

    def read(self, timeout_s: float) -> Block | None:
        """The next block; None where nothing is due within `timeout_s`. See `Source.read`."""
        until = self._clock() + timeout_s
        while True:
            block = self._due()
            if block is not None:
                return block
            left_s = until - self._clock()
            if left_s <= 0.0:
                return None
            self._sleep(min(left_s, BLOCK_S / 4))

    @property
    def ending(self) -> bool:
        """All is handed out, and its recorder has closed it or is about to write on."""
        return self._whole and self._there <= self._at

    def close(self) -> None:
        """Let go of the files."""
        for file in self._files:
            file.close()

    def _due(self) -> Block | None:
        now = self._clock()
        if now - self._looked_at >= CHECK_S:
            self._looked_at = now
            there, self._whole = self._look()
            if there > self._there:
                self._grew_at = now
            self._there = max(there, self._there) if not self._whole else there
        left = self._there - self._at
        if self._whole and now - self._grew_at >= FINISHED_S and left <= 0:
            raise EndOfTake
        step = round(BLOCK_S * self._rate_hz)
        behind = left > BEHIND_S * self._rate_hz or now - self._handed_at >= BLOCK_S
        if left < step and not (self._whole and left > 0 and now - self._grew_at >= FINISHED_S):
            return None
        if not behind:
            return None
        # Not from `now`: the pace is kept over many blocks, but no burst makes up for a pause.
        self._handed_at = min(max(self._handed_at + BLOCK_S, now - BLOCK_S), now)
        return self._take(min(step, left))

    def _take(self, count: int) -> Block:
        by_channel = np.empty((self.info.channels, count), dtype=np.float32)
        row = 0
        for file in self._files:
            file.read_into(by_channel[row : row + file.channels], self._at)
            row += file.channels
        self._at += count
        return Block(by_channel.T)

    def _look(self) -> tuple[int, bool]:
        """Frames that are there in every file by now, and whether all headers are whole."""
        there, whole = [], True
        for file in self._files:
            frames, unfinished = file.frames_now()
            there.append(frames)
            whole &= not unfinished
        return min(there), whole


def _open(path: Path) -> list[WavFile]:
    paths = [path]
    if path.is_dir():
        paths = [p for p in path.iterdir() if p.suffix.lower() in WAV_SUFFIXES and p.is_file()]
        paths.sort(key=natural)
    if not paths:
        raise SourceError(f"{path}: holds no WAV files: give a take that is being written")
    files: list[WavFile] = []
    with ExitStack() as undo:
        for one in paths:
            file = open_sound_file(one)
            undo.callback(file.close)
            if not isinstance(file, WavFile):
                raise SourceError(f"{one}: only WAV files can be followed while they grow")
            files.append(file)
        alike = {(file.sample_rate_hz, file.channels) for file in files}
        if len(files) > 1 and (len(alike) > 1 or files[0].channels != 1):
            raise SourceError(f"{path}: to be followed, files must be mono and of one rate")
        undo.pop_all()
    return files


def _info(path: Path, files: list[WavFile]) -> SourceInfo:
    first, start = files[0], files[0].metadata.start_samples
    names = tuple(name for file in files for name in file.metadata.channel_names)
    info = SourceInfo(path.name, first.sample_rate_hz, len(names), names)
    return replace(
        info,
        start_s=None if start is None else start / first.sample_rate_hz,
        start_samples=start,
        frame_rate=first.metadata.frame_rate,
        odd_rate=first.metadata.odd_rate,
        fields=first.metadata.fields,
        growing=True,
        notices=(f"{path.name} is watched while it grows",),
    )
