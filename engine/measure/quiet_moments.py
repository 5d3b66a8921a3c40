"""How loud the quiet moments of a few seconds are: a low order statistic, as in `measure.floor`."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Levels

Db = NDArray[np.float32]
QUIET_SHARE: Final = 0.2


def quiet(db: Db) -> Levels:
    """Level of the quiet moments along the first axis, dB; what is not known sorts last."""
    at = int(QUIET_SHARE * len(db))
    return np.asarray(np.partition(db, at, axis=0)[at], dtype=np.float64)
