"""What is known of a take before it is watched, its tracks of timecode included."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

from engine.model.messages import Samples
from engine.sources.base import SourceError, SourceInfo
from engine.sources.take import open_take
from engine.timecode.code_search import SPOT_S, channels_with_code

_SPOTS: Final = (0.0, 0.35, 0.7)
"""Shares of the take: code may begin late, or stop."""


def probe_take(path: str | Path) -> SourceInfo:
    """What the take says of itself, and which of its channels carry timecode.

    Raises
    ------
    SourceError
        If it can't be opened.
    """
    source = open_take(path, read_ahead=0)
    source.close()
    info = source.info
    return replace(info, code_channels=channels_with_code(_spots(path, info), info.sample_rate_hz))


def _spots(path: str | Path, info: SourceInfo) -> Iterator[Samples]:
    rate_hz = info.sample_rate_hz
    length_s = (info.frames or 0) / rate_hz
    for share in _SPOTS if length_s > len(_SPOTS) * SPOT_S else (0.0,):
        try:
            source = open_take(path, share * length_s, round(SPOT_S * rate_hz), read_ahead=0)
            try:
                block = source.read(0.0)
            finally:
                source.close()
        except SourceError:
            return  # whoever reads all of it will say so
        if block is not None:
            yield block.samples
