"""When a track fell under a limit, and when it came back over it, to the hop."""

from __future__ import annotations

import numpy as np

from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track

_COMES_BACK_HOPS = 3.5
"""A tick that begins no later than this after the last low hop is the one in which it does."""


class FallEnds(TrackMemory):
    """Follows the hops under the limit.

    begin_s : (tracks,) since when every hop has been under it; inf where the newest is not
    end_s : (tracks,) when the last one was, in ticks that are low
    """

    begin_s: Levels = per_track(np.inf)
    end_s: Levels = per_track(np.nan)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    def mark(self, m: Measurement, under: Flags, low: Flags) -> None:
        """Take in one tick; `under` has shape (hops, tracks), `low` says which tracks are."""
        self.mark_begin(m, under)
        if not any_of(under):
            return
        hops = len(under)
        until_s = m.start_s + m.hop_s * (hops - np.argmax(under[::-1], axis=0))
        # In the tick in which the place comes back as much counts as is under it yet.
        ahead = ~low & (m.start_s - self.end_s < _COMES_BACK_HOPS * m.hop_s)
        # Most are under it before, and most over it after; noise has its peaks.
        gained = np.cumsum(2 * under - 1, axis=0)
        split = np.where(gained.max(axis=0) >= 0, hops - np.argmax(gained[::-1], axis=0), 0)
        until_s = np.where(ahead, m.start_s + m.hop_s * split, until_s)
        self.end_s = np.where(low | ahead, until_s, self.end_s)

    def mark_begin(self, m: Measurement, under: Flags) -> None:
        """The same of a tick that is low nowhere, and follows no low one."""
        if not any_of(under):
            self.begin_s[:] = np.inf
            return
        over = ~under & m.valid
        since_s = m.start_s + m.hop_s * (len(under) - np.argmax(over[::-1], axis=0))
        lasting_s = np.minimum(self.begin_s, m.start_s)
        self.begin_s = np.where(over.any(axis=0), since_s, lasting_s)
        self.begin_s = np.where(under.any(axis=0), self.begin_s, np.inf)
