"""How the gain of a track changes after the split, and which channels are sums of others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.verify.channel_match import EMPTY_DBFS, live_steps
from engine.verify.traces import Trace

STEP_DB: Final = 2.5
"""A smaller step of the gain is the converters' and the mixer's own; ours."""

_PART: Final = 100
_MOST_MIXED: Final = 12


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


def mixed_of(take_dbfs: Trace, channel: int, least: float = 0.97) -> tuple[int, ...]:
    """The other channels that this one is a sum of (a mix-down); empty where it is none.

    Powers add up where mics hear different things. Channels are taken in one by one, each time
    that which helps most (forward selection, non-negative least squares), until they explain the
    share `least` of the power's variation.
    """
    known = ~np.isnan(take_dbfs).any(axis=1)
    power = 10.0 ** (take_dbfs[known].astype(np.float64) / 10.0)
    wanted = power[:, channel]
    variation = float(np.square(wanted - wanted.mean()).sum()) if len(wanted) else 0.0
    if variation <= 0.0:
        return ()
    chosen: list[int] = []
    others = [n for n in range(power.shape[1]) if n != channel]
    while others and len(chosen) < _MOST_MIXED:
        left = {n: _unexplained(power[:, [*chosen, n]], wanted) for n in others}
        best = min(left, key=lambda n: left[n])
        if not chosen and left[best] < 0.01 * variation:
            return ()  # one channel alone: a copy, no mix
        chosen.append(best)
        others.remove(best)
        if 1.0 - left[best] / variation >= least:
            return tuple(sorted(chosen)) if len(chosen) > 1 else ()
    return ()


def _unexplained(columns: NDArray[np.float64], wanted: NDArray[np.float64]) -> float:
    """Sum of squares that no non-negative sum of the columns explains (coordinate descent)."""
    gram, target = columns.T @ columns, columns.T @ wanted
    weight = np.zeros(columns.shape[1])
    for _ in range(30):
        for n in range(len(weight)):
            rest = target[n] - gram[n] @ weight + gram[n, n] * weight[n]
            weight[n] = max(rest / max(gram[n, n], 1e-30), 0.0)
    return float(np.square(wanted - columns @ weight).sum())
