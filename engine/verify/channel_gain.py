"""How the gain of a track changes after the split."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.verify.channel_match import EMPTY_DBFS, live_steps

STEP_DB: Final = 2.5
"""A smaller step of the gain is the converters' and the mixer's own; ours."""

_PART: Final = 100


@dataclass(frozen=True, slots=True)
class GainStep:
    """From `at_step` on a track lies `by_db` higher in the take than before."""

    at_step: int
    by_db: float


def gain_step(session_dbfs: NDArray[np.float32], take_dbfs: NDArray[np.float32]) -> GainStep | None:
    """The one step of a track's gain after the split, shape (steps,) each; None where steady."""
    live = live_steps(session_dbfs) & (np.nan_to_num(take_dbfs, nan=-200.0) > EMPTY_DBFS)
    at = np.flatnonzero(live)
    if len(at) < 2 * _PART:
        return None
    apart = take_dbfs[at] - session_dbfs[at]
    parts = [float(np.median(apart[n : n + _PART])) for n in range(0, len(at) - _PART + 1, _PART)]
    jumps = [float(np.median(parts[n:]) - np.median(parts[:n])) for n in range(1, len(parts))]
    n = int(np.argmax(np.abs(jumps)))
    if abs(jumps[n]) < STEP_DB:
        return None
    return GainStep(int(at[(n + 1) * _PART]), jumps[n])
