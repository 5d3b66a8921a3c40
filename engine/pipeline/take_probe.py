"""What is known of a take before it is watched, its tracks of timecode included."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from engine.model.messages import Samples
from engine.sources.base import SourceError, SourceInfo
from engine.sources.take import open_take
from engine.sources.take_files import Take, TakeFiles, files_of
from engine.timecode.code_search import SPOT_S, channels_with_code

_SPOTS: Final = (0.0, 0.35, 0.7)
"""Shares of the take: code may begin late, or stop."""


def probe_take(path: Take) -> SourceInfo:
    """What the take says of itself, and which of its channels carry timecode.

    Raises
    ------
    SourceError
        If it can't be opened.
    """
    take = files_of(path)  # looked for once: each look reads what all of them say of themselves
    source = open_take(take, read_ahead=0)
    source.close()
    info = source.info
    return replace(info, code_channels=channels_with_code(_spots(take, info), info.sample_rate_hz))


def _spots(take: TakeFiles, info: SourceInfo) -> Iterator[Samples]:
    rate_hz = info.sample_rate_hz
    length_s = (info.frames or 0) / rate_hz
    for share in _SPOTS if length_s > len(_SPOTS) * SPOT_S else (0.0,):
        try:
            source = open_take(take, share * length_s, round(SPOT_S * rate_hz), read_ahead=0)
            try:
                block = source.read(0.0)
            finally:
                source.close()
        except SourceError:
            return  # whoever reads all of it will say so
        if block is not None:
            yield block.samples
