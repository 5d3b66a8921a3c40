"""Which channels of a take are sums of others: a mix-down that the recorder made.

Powers add up where mics hear different things, and nearly where they hear one voice at different
times. Faders move, so each ten seconds have weights of their own (non-negative least squares of the
distance over the level: C. L. Lawson and R. J. Hanson, "Solving Least Squares Problems", 1974,
ch. 23; solved here by coordinates in turn). How far the made level lies from the channel's tells a
sum from another mic of the same place, whose reverberation no mic near the voices has.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.units import mean_square_at, power_db
from engine.verify.channel_match import EMPTY_DBFS
from engine.verify.traces import TakeTrace, Trace

WINDOW_S: Final = 10.0
MOST_WINDOWS: Final = 24
"""Spread over the take: four minutes tell as well as an hour."""

SUM_DB: Final = 3.25
"""Spread (1.4826 MAD) of the made level over hops of 10 ms up to which it is a sum. Ours, measured:
mixes with moving faders, booms and places in them 1.3 to 3.1 dB, other mics of the place 3.4 to 5.
"""

OF_ITS_OWN: Final = 0.5
"""And so much at most of the channel's own spread: steady noise lies near any other; ours."""

PART: Final = 0.03
"""A channel with a smaller share of the power is not named as a part; ours."""

_FLOOR: Final = 0.01
_ROUNDS: Final = 60


def mix_windows(take: TakeTrace) -> list[Trace]:
    """Stretches of the take that are looked at, shape (hops, channels) each, dBFS."""
    length = min(round(WINDOW_S / take.hop_s), take.hops)
    count = max(min(take.hops // max(length, 1), MOST_WINDOWS), 1)
    begins = np.linspace(0, take.hops - length, count).astype(int)
    return [take.levels(int(begin), length) for begin in begins]


def mixed_of(windows: Sequence[Trace], channel: int, among: Sequence[int]) -> tuple[int, ...]:
    """The channels among those that this one is a sum of; empty where it is none, or a copy."""
    apart_db: list[NDArray[np.float64]] = []
    moves_db: list[NDArray[np.float64]] = []
    shares: list[NDArray[np.float64]] = []
    for level_dbfs in windows:
        power = mean_square_at(level_dbfs.astype(np.float64))
        wanted, columns = power[:, channel], power[:, list(among)]
        if wanted.mean() < mean_square_at(EMPTY_DBFS):
            continue
        weight = _weights(columns, wanted)
        made = columns @ weight
        level_db = power_db(wanted)
        apart_db.append(power_db(made) - level_db)
        moves_db.append(level_db - np.median(level_db))
        shares.append(weight * columns.mean(axis=0) / wanted.mean())
    if not shares:
        return ()
    if _spread(apart_db) > min(SUM_DB, OF_ITS_OWN * _spread(moves_db)):
        return ()
    share = np.mean(shares, axis=0)
    parts = tuple(n for n, part in zip(among, share.tolist(), strict=True) if part >= PART)
    return parts if len(parts) > 1 else ()


def _spread(parts_db: list[NDArray[np.float64]]) -> float:
    return 1.4826 * float(np.median(np.abs(np.concatenate(parts_db))))


def _weights(columns: NDArray[np.float64], wanted: NDArray[np.float64]) -> NDArray[np.float64]:
    """Non-negative, so that the sum lies near in dB: distances count by the level they stand at."""
    by = 1.0 / (wanted + _FLOOR * wanted.mean())
    columns, target = columns * by[:, None], wanted * by
    gram, aim = columns.T @ columns, columns.T @ target
    weight = np.zeros(columns.shape[1])
    for _ in range(_ROUNDS):
        for n in range(len(weight)):
            rest = aim[n] - gram[n] @ weight + gram[n, n] * weight[n]
            weight[n] = max(rest / max(gram[n, n], 1e-30), 0.0)
    return weight
