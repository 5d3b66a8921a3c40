"""Levels as they go to phones and to the broker: whole dB of the tracks that carry something."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from engine.model.messages import Kind
from engine.model.tracks import Plan

LOWEST_DB: Final = -72
"""Levels below are shown as this one."""


def shown(plan: Plan) -> list[int]:
    """Track indices of the tiles, by their input numbers: the order of the levels in a message."""
    used = [n for n, track in enumerate(plan.tracks) if track.kind is not Kind.UNUSED]
    return sorted(used, key=lambda n: plan.tracks[n].input)


def whole_db(levels_dbfs: Sequence[float]) -> list[int]:
    """Levels as whole dB from `LOWEST_DB` to 0; digital zero and the unknown are the lowest."""
    made = []
    for level in levels_dbfs:
        known = LOWEST_DB if math.isnan(level) else max(LOWEST_DB, min(0.0, level))
        made.append(round(known))
    return made
