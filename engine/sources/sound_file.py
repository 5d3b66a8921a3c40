"""One sound file (WAV, RF64, BW64 or FLAC), checked before it is opened and read in blocks.

WAV is decoded here and not by libsndfile: twice as fast for the multichannel PCM that recorders
write, and no library ever meets a header that was not checked. The tests hold it to libsndfile,
bit for bit.
"""

from __future__ import annotations

import re
import stat
from functools import cached_property
from pathlib import Path
from typing import BinaryIO, Final, Protocol

from engine.model.messages import Samples
from engine.sources.base import SourceError, unreadable
from engine.sources.metadata import Metadata, read_metadata
from engine.sources.sample_format import SampleDecoder
from engine.sources.wav_header import WavHeader, read_wav_header

WAV_SUFFIXES: Final = (".wav", ".wave", ".bwf", ".rf64", ".bw64")
FLAC_SUFFIXES: Final = (".flac", ".fla")

_MAGIC_BYTES: Final = 16
_OTHER_FORMATS: Final = (
    ("an AIFF file", re.compile(rb"FORM....AIF[FC]", re.DOTALL)),
    ("a CAF file", re.compile(rb"caff")),
    ("a W64 file", re.compile(rb"riff\x2e\x91\xcf\x11")),
    ("an Ogg file", re.compile(rb"OggS")),
    ("an MP3 file", re.compile(rb"ID3|\xff[\xe2-\xe7\xf2-\xf7\xfa-\xff]")),
    ("an AAC file", re.compile(rb"\xff[\xf0\xf1\xf8\xf9]|ADIF")),
    ("an MP4 or MOV file", re.compile(rb"....ftyp", re.DOTALL)),
    ("an MXF file", re.compile(rb"\x06\x0e\x2b\x34")),
    ("an AU file", re.compile(rb"\.snd")),
    ("a Matroska file", re.compile(rb"\x1a\x45\xdf\xa3")),
)
"""What a mixer may have in hand, by its first bytes (held against the answers of libmagic)."""

_LEAST_FLAC_BYTES: Final = 42
"""Magic and STREAMINFO (RFC 9639, 8.2); libsndfile goes by the name of a file shorter than that."""


class SoundFile(Protocol):
    """An open file and what was read of it before the first frame."""

    path: Path
    sample_rate_hz: int
    channels: int
    frames: int
    unfinished: bool
    zeros_s: float
    """Seconds of zeros after the audio's stated end, left out."""

    @property
    def metadata(self) -> Metadata:
        """What it says of itself."""

    def read_into(self, by_channel: Samples, at_frame: int) -> None:
        """Fill `by_channel`, shape (channels, frames), from that frame on.

        Raises
        ------
        SourceError
            Where fewer frames come than the file promised.
        """

    def close(self) -> None:
        """Let go of the file."""


def open_sound_file(path: Path) -> SoundFile:
    """Open one file whose content, not its name, says that it is WAV or FLAC.

    Raises
    ------
    SourceError
        Where it is missing, something else, damaged, or holds no audio.
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise SourceError(f"{path}: is no file: give a WAV, a FLAC or a folder of mono files")
        with path.open("rb") as file:
            head = file.read(4)
            file.seek(0)
            if head == b"fLaC":
                # Only here: what loads libsndfile takes longer than to open a WAV.
                from engine.sources.flac_file import DAMAGED, FlacFile

                if status.st_size < _LEAST_FLAC_BYTES:
                    raise ValueError(DAMAGED)
                return FlacFile(path)
            if head not in (b"RIFF", b"RF64", b"BW64"):
                raise SourceError(f"{path}: {_not_audio(file.read(_MAGIC_BYTES))}")
            header = read_wav_header(file, status.st_size)
        return WavFile(path, header)
    except ValueError as error:
        raise SourceError(f"{path}: {error}") from None
    except OSError as error:
        reason = (error.strerror or "can't be opened").lower()
        raise SourceError(f"{path}: {reason}: check the path and its rights") from error


def _not_audio(head: bytes) -> str:
    if not head:
        return "is empty: copy it again from the recorder"
    for kind, signature in _OTHER_FORMATS:
        if signature.match(head):
            return f"is {kind}: convert it to WAV"
    return "is no WAV or FLAC file, whatever its name says: give a WAV, a FLAC or their folder"


class WavFile:
    """PCM or float audio at a known place of a file, see `SoundFile`."""

    def __init__(self, path: Path, header: WavHeader) -> None:
        self.path = path
        self.sample_rate_hz = header.sample_rate_hz
        self.channels = header.channels
        self.frames = header.frames
        self.unfinished = header.unfinished
        self.zeros_s = header.zero_bytes / (header.frame_bytes * header.sample_rate_hz)
        self._header = header
        self._decode = SampleDecoder(header.channels, header.frame_bytes, header.is_float)
        self._file: BinaryIO = path.open("rb", buffering=0)

    @cached_property
    def metadata(self) -> Metadata:
        """What it says of itself: read when asked for, since most opens are for the sound."""
        header = self._header
        return read_metadata(header.chunks, header.channels, header.sample_rate_hz)

    def frames_now(self) -> tuple[int, bool]:
        """Frames that are on the disk by now, and whether its recorder has yet to close it."""
        try:
            size = self.path.stat().st_size
            with self.path.open("rb") as file:
                header = read_wav_header(file, size)
        except (OSError, ValueError):
            return self.frames, self.unfinished  # being written this very moment, or gone
        return header.frames, header.unfinished

    def read_into(self, by_channel: Samples, at_frame: int) -> None:
        """See `SoundFile.read_into`."""
        done, count = 0, by_channel.shape[1]
        try:
            self._file.seek(self._header.data_offset + at_frame * self._header.frame_bytes)
            while done < count:
                strip = by_channel[:, done : done + self._decode.strip_frames]
                if not self._decode.fill(self._file, strip):
                    break
                done += strip.shape[1]
        except OSError as error:
            raise unreadable(self.path, (at_frame + done) / self.sample_rate_hz) from error
        if done < count:
            raise unreadable(self.path, (at_frame + done) / self.sample_rate_hz)

    def close(self) -> None:
        """See `SoundFile.close`."""
        self._file.close()
