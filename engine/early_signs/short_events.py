"""Gaps and bursts too short for an alarm, counted by track in one second.

- A gap: for 2.5 ms the track is 10 dB quieter than it has been for 2.5 ms at any moment of the
  last minute, in one or two ticks alone: a link that fades for a moment. What stays quiet is a
  place that went quiet, or an alarm's business.
- A burst: outside of speech a hop as bright as white noise (its steps from sample to sample carry
  as much as the sound itself; white noise twice) and 6 dB over the bright noise of before. An s is
  nearly as bright, but lasts, and other mics hear it, at least 3 dB over theirs and within a hop: a
  burst is at most two hops long and on one track. What lasts longer is an alarm's business.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.early_signs.known_values import quantile
from engine.early_signs.second import Second
from engine.model.flag_arrays import count_of
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By

GAP_UNDER_DB: Final = 10.0
"""As of the alarm's gaps."""
GAP_MEMORY_S: Final = 60
_LEAST_MEMORY_S: Final = 20
AUDIBLE_DB: Final = -95.0
"""dBFS. Nothing under this is a mic in a place (common practice, no source)."""
BURST_POWER: Final = 10.0**0.6
HEARD_POWER: Final = 10.0**0.3
QUIET_TICKS: Final = 100


class ShortEvents(TrackMemory):
    """Counts them second by second; remembers what each track is in its quiet.

    Parameters
    ----------
    mics : (tracks,) bool
        Which tracks may hear each other.
    """

    _quietest: Levels = per_track(np.nan, rows=GAP_MEMORY_S)
    _last_low: Flags = per_track(False, rows=2)
    _bright: Levels = per_track(np.nan, rows=QUIET_TICKS)
    _bright_quiet: Levels = per_track(np.nan)
    _last_hits: Flags = per_track(False, rows=2)
    _second: int = remembered(By.WHOLE, 0)

    def __init__(self, mics: Flags) -> None:
        self._mics, self._tracks = mics, len(mics)
        self.reset()

    def count(self, second: Second) -> tuple[NDArray[np.int64], ...]:
        """Gaps and bursts of that second, each of shape (tracks,)."""
        gaps, bursts = self._gaps(second), self._bursts(second)
        self._second += 1
        return gaps, bursts

    def _gaps(self, second: Second) -> NDArray[np.int64]:
        quiet = second.quietest_db
        known = count_of(~np.isnan(self._quietest), axis=0) >= _LEAST_MEMORY_S
        least = np.where(known, np.fmin.reduce(self._quietest), -np.inf)
        low = np.asarray(quiet < least - GAP_UNDER_DB)
        lasting = _lasting(low, self._last_low)
        self._last_low = low[-2:].copy()
        lively = np.where(low & ~lasting, np.inf, quiet).min(axis=0)
        self._quietest[self._second % GAP_MEMORY_S] = np.where(np.isinf(lively), np.nan, lively)
        short = low & ~lasting & (least > AUDIBLE_DB)
        return np.asarray(count_of(short, axis=0))

    def _bursts(self, second: Second) -> NDArray[np.int64]:
        over = second.difference_energy / np.maximum(self._bright_quiet, 1e-30)
        hops = over.reshape(-1, self._tracks)
        bright = second.bright.reshape(hops.shape)
        alone = self._alone(bright & (hops > HEARD_POWER) & self._mics)
        free = np.broadcast_to(~second.voiced, second.bright.shape).reshape(hops.shape)
        hit = bright & (hops > BURST_POWER) & alone & free & second.valid.reshape(hops.shape)
        lasting = _lasting(hit, self._last_hits)
        self._last_hits = hit[-2:].copy()
        hit &= ~lasting
        first = hit.copy()
        first[1:] &= ~hit[:-1]
        self._remember_bright(second)
        return np.asarray(count_of(first, axis=0))

    def _alone(self, heard: Flags) -> Flags:
        """Hops in which no other track hears something bright, nor in the hops beside them."""
        near = heard.copy()
        near[1:] |= heard[:-1]
        near[:-1] |= heard[1:]
        others = count_of(near, axis=1)[:, None] - near
        return np.asarray(others == 0)

    def _remember_bright(self, second: Second) -> None:
        ticks = len(second.ticks)
        rows = (self._second * ticks + np.arange(ticks)) % QUIET_TICKS
        treble = second.difference_energy.mean(axis=1)
        self._bright[rows] = np.where(second.voiced[:, 0], np.nan, treble)
        self._bright_quiet = quantile(self._bright, 0.5)


def _lasting(hit: Flags, before: Flags) -> Flags:
    """Rows of a run of three and more, and of one that may go on in the next second.

    `before` are the last two rows of the second before.
    """
    joined = np.concatenate([before, hit, hit[-1:], hit[-1:]])
    middle = joined[:-2] & joined[1:-1] & joined[2:]
    lasting = np.zeros_like(joined)
    for n in range(3):
        lasting[n : len(joined) - 2 + n] |= middle
    return lasting[2:-2]
