"""Which channel of a take carries which track of the session, and how its level differs.

Two recordings of one mic differ by a constant gain, whatever happens; two mics, even on one
performer, by a gain that wavers. So the distance of a channel from a track is how much their
level difference spreads (the median of its absolute deviations, as a standard deviation would
be: 1.4826 MAD) while the track is clearly above its own quiet. Ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.verify.traces import QUIETEST_DBFS, Trace

LIVE_DB: Final = 10.0
"""Steps count in which a track lies this far above its quietest tenth."""

LEAST_STEPS: Final = 20
"""Two seconds of them are wanted."""

SAME_DB: Final = 1.5
"""A spread up to that is the same mic. Ours, measured: a copy 0.2 to 0.8 dB, another pack of the
same performer 2 dB and more."""

CLOSER: Final = 0.6
"""Another channel must fit a track so much better than the track's own."""

EMPTY_DBFS: Final = -95.0
"""A channel that never exceeds this carries nothing."""


@dataclass(frozen=True, slots=True)
class ChannelMatch:
    """What became of one track of the session.

    own : the channel where it belongs, None where the take has no such channel
    on : the channels that carry it, the best one first
    own_is_empty : its own channel carries nothing at all
    spread_db : how much the level difference wavers on the best of them
    gain_db : level of the take over that of the session, there; NaN where `on` is empty
    """

    input: int
    own: int | None
    on: tuple[int, ...]
    own_is_empty: bool
    spread_db: float
    gain_db: float


def match_channels(
    session_dbfs: Trace,
    take_dbfs: Trace,
    inputs: Sequence[int],
    channel_of: Mapping[int, int] | None = None,
) -> tuple[ChannelMatch, ...]:
    """Match levels that lie on each other step by step; tracks that were never live are left out.

    session_dbfs : shape (steps, tracks); take_dbfs : shape (steps, channels)
    channel_of : the channel (from 0) on which each input belongs; the one before it if not given
    """
    spread, gain = _distances(session_dbfs, take_dbfs)
    loudest = np.nanmax(np.where(np.isnan(take_dbfs), -np.inf, take_dbfs), axis=0)
    if channel_of is None:
        channel_of = {n: n - 1 for n in inputs if n <= take_dbfs.shape[1]}
    made = []
    for n, number in enumerate(inputs):
        own = channel_of.get(number)
        if not _is_live(session_dbfs[:, n]):
            steady = _is_audible(session_dbfs[:, n])
            if own is not None and steady and loudest[own] < EMPTY_DBFS:
                made.append(ChannelMatch(number, own, (), True, float("nan"), float("nan")))
            continue
        on = _carriers(spread[n], own)
        empty = own is not None and bool(loudest[own] < EMPTY_DBFS)
        best = on[0] if on else None
        made.append(
            ChannelMatch(
                input=number,
                own=own,
                on=on,
                own_is_empty=empty,
                spread_db=float("nan") if best is None else float(spread[n, best]),
                gain_db=float("nan") if best is None else float(gain[n, best]),
            )
        )
    return tuple(made)


def _carriers(spread_db: NDArray[np.float64], own: int | None) -> tuple[int, ...]:
    """The channels on which a track lies: its own, unless another fits far better."""
    known = np.where(np.isnan(spread_db), np.inf, spread_db)
    best = int(known.argmin())
    if not np.isfinite(known[best]) or known[best] > SAME_DB:
        return ()
    if own is not None and known[own] <= SAME_DB and known[own] * CLOSER <= known[best]:
        best = own
    limit_db = min(SAME_DB, known[best] / CLOSER + 0.1)
    alike = sorted(np.flatnonzero(known <= limit_db).tolist(), key=lambda c: float(known[c]))
    return (best, *(c for c in alike if c != best))


def _is_audible(level_dbfs: NDArray[np.float32]) -> bool:
    """Something steady was heard most of the time: enough to miss it where a channel is empty."""
    return bool(np.nanmedian(np.nan_to_num(level_dbfs, nan=-200.0)) > EMPTY_DBFS + LIVE_DB)


def _is_live(level_dbfs: NDArray[np.float32]) -> bool:
    return bool(live_steps(level_dbfs).sum() >= LEAST_STEPS)


def live_steps(level_dbfs: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Where a track lies clearly above its own quiet, shape (steps,)."""
    known = level_dbfs[~np.isnan(level_dbfs)]
    if not len(known):
        return np.zeros(len(level_dbfs), dtype=np.bool_)
    quiet = max(float(np.quantile(known, 0.1)), QUIETEST_DBFS + 15.0)
    return np.asarray(np.nan_to_num(level_dbfs, nan=-200.0) > quiet + LIVE_DB)


def _distances(
    session_dbfs: Trace, take_dbfs: Trace
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Spread and median of the level difference, dB, shape (tracks, channels); NaN unknown."""
    tracks, channels = session_dbfs.shape[1], take_dbfs.shape[1]
    spread = np.full((tracks, channels), np.nan)
    gain = np.full((tracks, channels), np.nan)
    for track in range(tracks):
        live = live_steps(session_dbfs[:, track])
        apart = take_dbfs[live] - session_dbfs[live, track, None]
        apart = apart[~np.isnan(apart).any(axis=1)]
        if len(apart) < LEAST_STEPS:
            continue
        middle = np.median(apart, axis=0)
        spread[track] = 1.4826 * np.median(np.abs(apart - middle), axis=0)
        gain[track] = middle
    empty = np.nanmax(np.where(np.isnan(take_dbfs), -np.inf, take_dbfs), axis=0) < EMPTY_DBFS
    spread[:, empty] = np.nan
    return spread, gain
