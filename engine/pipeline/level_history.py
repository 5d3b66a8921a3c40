"""Level of every track over a whole take, a second a column, in memory with a bound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Levels, Measurement
from engine.model.units import amplitude_db

MOST_COLUMNS: Final = 14_400
"""Four hours of seconds; a longer take is kept in columns of two seconds, then four, ..."""


MOST_TICKS: Final = 10
"""So many ticks are taken in together: a second, which costs a third of one by one."""


@dataclass(frozen=True, slots=True, eq=False)
class LevelHistory:
    """Levels of consecutive columns of `step_s`, the first one at stream time 0.

    momentary_max_lufs : (columns, tracks) float32, highest momentary loudness
    sample_peak_dbfs : (columns, tracks) float32

    NaN where nothing was measured, `FLOOR_DB` where there was no level.
    """

    step_s: float
    momentary_max_lufs: NDArray[np.float32]
    sample_peak_dbfs: NDArray[np.float32]


class HistoryRecorder:
    """Takes in each tick's measurement; when the columns are all full, joins them two by two."""

    def __init__(self, tracks: int, most_columns: int = MOST_COLUMNS) -> None:
        """Start empty; `most_columns` is even."""
        self._levels = np.full((2, most_columns, tracks), np.nan, dtype=np.float32)
        self._step_s = 1.0
        self._filled = 0
        self._column = 0
        self._held: list[tuple[Levels, Levels]] = []
        """Momentary loudness and peaks of the ticks of that column, to be taken in together."""

    def add(self, m: Measurement) -> None:
        """Take in one tick."""
        # Half a tick back, so that rounding can't push a tick into the next second.
        at_s = (m.start_s + m.end_s) / 2.0
        while at_s >= self._step_s * self._levels.shape[1]:
            self._take_in()
            self._halve()
        column = int(at_s / self._step_s)
        if column != self._column or len(self._held) == MOST_TICKS:
            self._take_in()
        self._column = column
        self._filled = max(self._filled, column + 1)
        peak = m.peak if m.all_valid else np.where(m.valid, m.peak, np.nan)
        self._held.append((m.momentary_lufs, peak))

    def _take_in(self) -> None:
        """Write the ticks that are held into their column."""
        if not self._held:
            return
        momentary, peaks = zip(*self._held, strict=True)
        self._held.clear()
        column = self._levels[:, self._column]
        newest = np.stack([np.fmax.reduce(momentary), np.fmax.reduce(np.concatenate(peaks))])
        np.fmax(column, newest, out=column, casting="same_kind")

    def _halve(self) -> None:
        pairs = np.fmax(self._levels[:, 0::2], self._levels[:, 1::2])
        self._levels[:, : pairs.shape[1]] = pairs
        self._levels[:, pairs.shape[1] :] = np.nan
        self._filled = -(-self._filled // 2)
        self._step_s *= 2.0

    def history(self) -> LevelHistory:
        """All columns so far."""
        self._take_in()
        momentary, peak = self._levels[:, : self._filled]
        level = np.where(np.isnan(peak), np.nan, amplitude_db(peak)).astype(np.float32)
        return LevelHistory(self._step_s, momentary.copy(), level)
