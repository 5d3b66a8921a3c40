"""What the log keeps of every track each second: three levels, and ten RMS levels in it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import count_of
from engine.model.messages import Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track
from engine.model.units import power_db, rms_dbfs

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


def pack_envelope(level_dbfs: Levels) -> bytes:
    """AES17 RMS, shape (steps, tracks), dBFS, as a byte each; NaN where unknown."""
    steps = np.clip(np.nan_to_num(level_dbfs) / ENVELOPE_STEP_DB + 255.0, 1.0, 255.0).round()
    return np.where(np.isnan(level_dbfs), _UNKNOWN, steps).astype(np.uint8).tobytes()


def unpack_envelope(blob: bytes, tracks: int) -> NDArray[np.float32]:
    """The same back: shape (steps, tracks), dBFS; NaN where unknown.

    Raises
    ------
    ValueError
        If the blob is of another number of tracks.
    """
    steps = np.frombuffer(blob, dtype=np.uint8).reshape(-1, tracks).astype(np.float32)
    return np.where(steps == _UNKNOWN, np.float32(np.nan), (steps - 255.0) * ENVELOPE_STEP_DB)


class SecondRecorder(TrackMemory):
    """The levels of one second of the stream, gathered tick by tick."""

    _momentary: Levels = per_track(np.nan)
    _peak: Levels = per_track(np.nan)
    _squares: Levels = per_track(0.0)
    _hops: Levels = per_track(0.0)
    _steps: Levels = per_track(np.nan, rows=ENVELOPE_STEPS)

    def __init__(self, number: int, tracks: int) -> None:
        self.number = number
        self._tracks = tracks
        self.reset()

    def add(self, m: Measurement) -> None:
        """Take in one tick."""
        self._momentary = np.fmax(self._momentary, m.momentary_lufs)
        peak = m.peak if m.all_valid else np.where(m.valid, m.peak, np.nan)
        self._peak = np.fmax(self._peak, np.fmax.reduce(peak))
        squares = np.where(m.valid, m.mean_square, 0.0).sum(axis=0)
        hops = count_of(m.valid, axis=0)
        self._squares += squares
        self._hops += hops
        step = int(((m.start_s + m.end_s) / 2.0 - self.number) * ENVELOPE_STEPS)
        if 0 <= step < ENVELOPE_STEPS:
            level = rms_dbfs(squares / np.maximum(hops, 1))
            self._steps[step] = np.where(hops > 0, level, np.nan)

    def levels(self) -> bytes:
        """Momentary maximum, sample peak and RMS of each track, see `unpack_levels`."""
        level = rms_dbfs(self._squares / np.maximum(self._hops, 1.0))
        level = np.where(self._hops > 0, level, np.nan)
        # NaN goes through power_db's maximum as it is.
        return pack_levels(self._momentary, power_db(self._peak**2), level)

    def envelope(self) -> bytes:
        """RMS of each tenth of the second."""
        return pack_envelope(self._steps)
