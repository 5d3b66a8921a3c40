"""Whether the recorder rolls, told by record-run code: code that runs, or code that stopped."""

from __future__ import annotations

import math
from collections.abc import Mapping

from engine.model.timecode_frames import CodeReading


class RecordRun:
    """Follows the code; until any was heard nothing is known, and the watch goes on as rolling."""

    def __init__(self) -> None:
        self._rolls: bool | None = None

    def update(self, readings: Mapping[int, CodeReading]) -> bool | None:
        """True where the recorder began to roll in this tick, False where it stopped, else None."""
        if not any(not math.isnan(reading.valid_s) for reading in readings.values()):
            return None
        rolls = any(reading.moving for reading in readings.values())
        change = None if rolls is self._rolls else rolls
        self._rolls = rolls
        return change
