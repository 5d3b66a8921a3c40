"""Conditions made by hand, for tests of what follows the detectors."""

from __future__ import annotations

import numpy as np

from engine.model.messages import Condition


def blank(tracks: int) -> Condition:
    """A condition that is clear on every track; its arrays are there to be written to."""
    return Condition(
        state=np.zeros(tracks, dtype=np.int8),
        onset_s=np.full(tracks, np.nan),
        last_s=np.full(tracks, np.nan),
        may_be_red=np.zeros(tracks, dtype=np.bool_),
    )
