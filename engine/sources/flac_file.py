"""A FLAC file through libsndfile; loaded when one is opened."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from engine.model.messages import Samples
from engine.sources.base import SourceError, unreadable
from engine.sources.flac_blocks import read_flac_blocks
from engine.sources.metadata import read_metadata
from engine.sources.wav_header import check_rate

DAMAGED: Final = "is a damaged FLAC file: copy it again"
_ENDLESS_FRAMES: Final = 1 << 60
"""libsndfile's way to say that a FLAC stream does not know its length."""


class FlacFile:
    """A FLAC file through libsndfile, see `engine.sources.sound_file.SoundFile`."""

    unfinished = False
    zeros_s = 0.0

    def __init__(self, path: Path) -> None:
        self.path = path
        with path.open("rb") as file:
            blocks = read_flac_blocks(file)
        try:
            self._sound = soundfile.SoundFile(path)
        except soundfile.SoundFileError:
            raise ValueError(DAMAGED) from None
        self.sample_rate_hz: int = self._sound.samplerate
        self.channels: int = self._sound.channels
        self.frames: int = self._sound.frames
        self.metadata = read_metadata(
            blocks.chunks, self.channels, self.sample_rate_hz, blocks.comments
        )
        self._place = 0
        try:
            check_rate(self.sample_rate_hz)
            if not 0 < self.frames < _ENDLESS_FRAMES:
                raise ValueError("holds no audio, or was never finished: copy it again")
        except ValueError:
            self.close()
            raise
        self._check_end()

    def _check_end(self) -> None:
        """A FLAC that was cut short only shows when its last frame is asked for."""
        try:
            self.read_into(np.empty((self.channels, 1), dtype=np.float32), self.frames - 1)
        except SourceError:
            self.close()
            text = f"{self.path}: is cut short or damaged: copy it again from the recorder"
            raise SourceError(text) from None

    def read_into(self, by_channel: Samples, at_frame: int) -> None:
        """See `SoundFile.read_into`."""
        count = by_channel.shape[1]
        try:
            if at_frame != self._place:
                self._place = at_frame
                self._sound.seek(at_frame)
            got = self._sound.read(count, dtype="float32", always_2d=True)
        except (soundfile.SoundFileError, OSError) as error:
            raise unreadable(self.path, at_frame / self.sample_rate_hz) from error
        if len(got) < count:
            raise unreadable(self.path, (at_frame + len(got)) / self.sample_rate_hz)
        np.copyto(by_channel, got.T)
        self._place = at_frame + count

    def close(self) -> None:
        """See `SoundFile.close`."""
        self._sound.close()
