"""The last two minutes of levels as a window saw them, for the closer look. Pure arrays."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from engine.model.snapshot import RIBBON_STEP_S, Snapshot
from engine.model.track_remap import TrackRemap
from engine.model.units import FLOOR_DB

STEP_S: Final = 0.1
SPAN_S: Final = 120.0
STEPS: Final = round(SPAN_S / STEP_S)

Series = tuple[NDArray[np.floating[Any]], NDArray[np.floating[Any]]]
Span = tuple[float, float, int]


class Trace:
    """A ring of AES17 levels of every track, one every 0.1 s; in memory at most two minutes."""

    def __init__(self, tracks: int) -> None:
        self._at_s = np.full(STEPS, -np.inf)
        self._level = np.full((STEPS, tracks), np.nan, dtype=np.float32)
        self._next = 0

    def add(self, snapshot: Snapshot) -> None:
        """Take in a snapshot, unless it comes too soon after the last one."""
        newest = self._at_s[self._next - 1]
        if snapshot.now_s - newest < STEP_S * 0.95:
            return
        self._at_s[self._next] = snapshot.now_s
        self._level[self._next] = snapshot.level_dbfs
        self._next = (self._next + 1) % STEPS

    def of(self, remap: TrackRemap) -> Trace:
        """The same of the tracks that it keeps; of a new one nothing is known."""
        fresh = Trace(len(remap.old))
        fresh._at_s, fresh._next = self._at_s, self._next
        fresh._level = remap.last(self._level, np.nan)
        return fresh

    def level(self, track_index: int, now_s: float) -> Series:
        """Seconds before now (negative) and levels in dBFS of one track, oldest first."""
        order = np.roll(np.arange(STEPS), -self._next)
        at_s: NDArray[np.float64] = self._at_s[order] - now_s
        keep = at_s >= -SPAN_S
        level: NDArray[np.float64] = self._level[order, track_index][keep].astype(np.float64)
        return at_s[keep], level


def peaks(snapshot: Snapshot, track_index: int) -> Series:
    """Sample peaks of the ribbon in the same form; columns without sound are NaN."""
    ribbon = snapshot.ribbon
    level = ribbon.level_dbfs[:, track_index].astype(np.float64)
    ends_s = (np.arange(len(level)) - len(level) + 1) * RIBBON_STEP_S
    at_s = ends_s + ribbon.end_s - snapshot.now_s
    return at_s, np.where(level <= FLOOR_DB, np.nan, level)


def spans(snapshot: Snapshot, track_index: int) -> tuple[Span, ...]:
    """Where a fault stood on the track: from, to (seconds before now) and its severity."""
    severity = snapshot.ribbon.severity[:, track_index].astype(int)
    edges = np.flatnonzero(np.diff(severity, prepend=0, append=0))
    end_s = snapshot.ribbon.end_s - snapshot.now_s
    count = len(severity)
    return tuple(
        (end_s - (count - a) * RIBBON_STEP_S, end_s - (count - b) * RIBBON_STEP_S, int(severity[a]))
        for a, b in pairwise(edges.tolist())
        if severity[a]
    )
