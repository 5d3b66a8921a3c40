"""The last two minutes of every track, column by column, for the board's ribbons."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model import RIBBON_COLUMNS, RIBBON_STEP_S, Measurement, Ribbon
from engine.units import FLOOR_DB, amplitude_db

_TICK_S: Final = 0.1
TICKS_A_COLUMN: Final = round(RIBBON_STEP_S / _TICK_S)


class RibbonRecorder:
    """A ring of columns; the newest fills while its ticks come in."""

    def __init__(self, tracks: int) -> None:
        self._peaks = np.zeros((RIBBON_COLUMNS, tracks), dtype=np.float32)
        self._severity = np.zeros((RIBBON_COLUMNS, tracks), dtype=np.uint8)
        self._ticks = 0
        self._end_s = 0.0

    def add(
        self, measurement: Measurement | None, severity: NDArray[np.uint8], end_s: float
    ) -> None:
        """Take in one tick; None where no audio came."""
        column = self._ticks // TICKS_A_COLUMN % RIBBON_COLUMNS
        if self._ticks % TICKS_A_COLUMN == 0:
            self._peaks[column] = 0.0
            self._severity[column] = 0
        if measurement is not None:
            m = measurement
            peak = np.maximum(m.peak_max, -m.peak_min).max(axis=0)
            np.maximum(self._peaks[column], peak, out=self._peaks[column])
        np.maximum(self._severity[column], severity, out=self._severity[column])
        self._ticks += 1
        self._end_s = end_s

    def ribbon(self) -> Ribbon:
        """The columns as they stand, oldest first."""
        newest = max(self._ticks - 1, 0) // TICKS_A_COLUMN % RIBBON_COLUMNS
        order = (np.arange(RIBBON_COLUMNS) + newest + 1) % RIBBON_COLUMNS
        level = amplitude_db(self._peaks[order]).astype(np.float32)
        return Ribbon(np.maximum(level, np.float32(FLOOR_DB)), self._severity[order], self._end_s)
