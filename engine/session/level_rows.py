"""One second's levels of every track as the log stores them."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Levels

NO_LEVEL: Final = -32768
"""Stands for an unknown level; all others are hundredths of a dB."""


def pack_levels(*levels: Levels) -> bytes:
    """Level arrays of shape (tracks,) as int16 hundredths of a dB, one after the other."""
    stacked = np.stack(levels)
    hundredths = np.clip(np.nan_to_num(stacked) * 100.0, NO_LEVEL + 1, -NO_LEVEL - 1)
    return np.where(np.isnan(stacked), NO_LEVEL, hundredths.round()).astype("<i2").tobytes()


def unpack_levels(blob: bytes, tracks: int) -> Levels:
    """Momentary maximum (LUFS), sample peak and AES17 RMS (dBFS), shape (3, tracks); NaN unknown.

    Raises
    ------
    ValueError
        If the blob is of another number of tracks.
    """
    values = np.frombuffer(blob, dtype="<i2").reshape(3, tracks)
    return np.where(values == NO_LEVEL, np.nan, values / 100.0)
