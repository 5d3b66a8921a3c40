"""The last two minutes of every track, column by column, for the board's ribbons."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Measurement
from engine.model.snapshot import RIBBON_COLUMNS, RIBBON_STEP_S, LevelStrip
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import FLOOR_DB, amplitude_db

_EPS_S: Final = 1e-6


class LevelStripRecorder(TrackMemory):
    """A ring of columns by stream time; the newest fills while its ticks come in."""

    _peaks: NDArray[np.float32] = per_track(0.0, rows=RIBBON_COLUMNS, dtype=np.float32)
    _severity: NDArray[np.uint8] = per_track(0, rows=RIBBON_COLUMNS, dtype=np.uint8)
    _newest: int = remembered(By.WHOLE, 0)
    _end_s: float = remembered(By.WHOLE, 0.0)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    def add(
        self, measurement: Measurement | None, severity: NDArray[np.uint8], end_s: float
    ) -> None:
        """Take in one tick; None where no audio came. Columns that time passed over are blank."""
        newest = max(int((end_s - _EPS_S) // RIBBON_STEP_S), 0)
        for column in range(max(self._newest + 1, newest - RIBBON_COLUMNS + 1), newest + 1):
            self._peaks[column % RIBBON_COLUMNS] = 0.0
            self._severity[column % RIBBON_COLUMNS] = 0
        self._newest = max(newest, self._newest)
        column = self._newest % RIBBON_COLUMNS
        if measurement is not None:
            peak = measurement.peak.max(axis=0)
            np.maximum(self._peaks[column], peak, out=self._peaks[column])
        np.maximum(self._severity[column], severity, out=self._severity[column])
        self._end_s = end_s

    def ribbon(self) -> LevelStrip:
        """The columns as they stand, oldest first."""
        order = (np.arange(RIBBON_COLUMNS) + self._newest + 1) % RIBBON_COLUMNS
        level = amplitude_db(self._peaks[order]).astype(np.float32)
        return LevelStrip(
            np.maximum(level, np.float32(FLOOR_DB)), self._severity[order], self._end_s
        )
