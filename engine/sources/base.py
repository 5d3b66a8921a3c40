"""The interface every source of audio keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Protocol

from engine.model.messages import Block
from engine.model.safe_text import harmless

HOST_API: Final = "host API"
"""In the fields of a live input: through which of the system's interfaces it is reached."""


SERVER_SOURCE: Final = "server source"
"""In the fields of a live input: what a sound server connected it to, where one does."""


class SourceError(Exception):
    """A source can't be opened or stopped delivering: one clear line that says what to do."""

    def __init__(self, line: str) -> None:
        super().__init__(harmless(line))  # file names stand in it


def unreadable(path: Path, at_s: float) -> SourceError:
    """A file that can't be read to its end."""
    return SourceError(
        f"{path}: can't be read past {at_s:.1f} s: the file is damaged there or its disk went "
        "away; copy it again from the recorder"
    )


class EndOfTake(Exception):  # noqa: N818 - an end, not an error
    """The take was read to its last frame."""


@dataclass(frozen=True, slots=True)
class SourceInfo:
    """What is known of a source before its first block.

    channel_names : one a channel, '' where unknown
    frames : length of the whole take; None: endless
    start_s, start_samples : time reference of the take's first sample since midnight, by the
        file's own rate; None where unknown
    frame_rate : in the plan's words; None where unknown
    odd_rate : a rate that the file states and no standard counts, in words; else ""
    code_channels : channels, from 1, on which timecode was found, as far as it was looked for
    growing : a take that is still being written: it may stop coming, as a live input may
    fields : what the file says of itself: scene, take, tape, note, project, ...
    notices : what the user should know about how the source is read, one line each
    """

    name: str
    sample_rate_hz: int
    channels: int
    channel_names: tuple[str, ...]
    frames: int | None = None
    start_s: float | None = None
    start_samples: int | None = None
    frame_rate: str | None = None
    fields: Mapping[str, str] = field(default_factory=dict)
    live: bool = False
    growing: bool = False
    notices: tuple[str, ...] = ()
    odd_rate: str = ""
    code_channels: tuple[int, ...] = ()


def server_source_of(info: SourceInfo) -> str:
    """What a sound server connected that input to; empty where none stands in between."""
    return info.fields.get(SERVER_SOURCE, "")


class Source(Protocol):
    """Blocks of audio, one after the other, from one place."""

    info: SourceInfo

    def read(self, timeout_s: float) -> Block | None:
        """The next block, or None where nothing came within `timeout_s`.

        Raises
        ------
        EndOfTake
            After the last block of a take.
        SourceError
            Where the source failed; it delivers nothing from then on.
        """

    def close(self) -> None:
        """Let go of file, device and threads; may be called twice."""
