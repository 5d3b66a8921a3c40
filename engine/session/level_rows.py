"""Levels of every track as the log stores them: a second's three, and ten RMS levels in it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

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


ENVELOPE_STEPS: Final = 10
"""RMS levels in a second of the envelope: one a tick. A byte each, 16 tracks fill 0.6 MB an hour,
and that is enough to find a take in a session by its sound (`engine.verify`)."""

ENVELOPE_STEP_DB: Final = 0.5
"""Resolution of the envelope, dB; 255 of them reach from a full-scale sine to -127 dBFS."""

_UNKNOWN: Final = 0


def pack_envelope(rms_dbfs: Levels) -> bytes:
    """AES17 RMS, shape (steps, tracks), dBFS, as a byte each; NaN where unknown."""
    steps = np.clip(np.nan_to_num(rms_dbfs) / ENVELOPE_STEP_DB + 255.0, 1.0, 255.0).round()
    return np.where(np.isnan(rms_dbfs), _UNKNOWN, steps).astype(np.uint8).tobytes()


def unpack_envelope(blob: bytes, tracks: int) -> NDArray[np.float32]:
    """The same back: shape (steps, tracks), dBFS; NaN where unknown.

    Raises
    ------
    ValueError
        If the blob is of another number of tracks.
    """
    steps = np.frombuffer(blob, dtype=np.uint8).reshape(-1, tracks).astype(np.float32)
    return np.where(steps == _UNKNOWN, np.float32(np.nan), (steps - 255.0) * ENVELOPE_STEP_DB)
