"""How likely chance makes several tracks do something unusual in one and the same moment.

Fisher's method adds the logarithms of the chances of independent tests, and the sum has a gamma
distribution (R. A. Fisher, Statistical Methods for Research Workers, 1932). Brown's extends it to
tests that go together by their covariances, measured in the same sound: fewer independent ones with
the same mean and variance (M. B. Brown, Biometrics 31, 987-992, 1975). Beyond the largest values
that were there, a tail goes on as a power of the value (B. M. Hill, Annals of Statistics 3,
1163-1174, 1975): steep for noise, flat for a voice.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from engine.model.flag_arrays import count_of
from engine.model.messages import Levels

TAIL: Final = 0.01
"""Share of the values that tells how a tail goes on."""
LEAST_LOG: Final = -12.0
"""No track's chance counts for less than this, natural logarithm: so far nobody can tell a tail."""

_ROOT_HALF: Final = math.sqrt(0.5)
_LEAST_CHANCE: Final = 1e-30
_SURE: Final = 1e-6


def tail_log_chances(values: Levels, beside: Levels) -> Levels:
    """Natural logarithm of the chance of one value of each track, shape (tracks,).

    `beside`, of shape (tracks, values), is what is usual. Among them the rank says it, beyond the
    hundredth part that is largest Hill's tail, drawn flatter by one standard error.
    """
    count = beside.shape[1]
    top = max(8, round(TAIL * count))
    largest = np.sort(np.partition(beside, count - top, axis=1)[:, count - top :], axis=1)
    start = np.maximum(largest[:, :1], 1e-30)
    index = np.log(np.maximum(largest, 1e-30) / start).mean(axis=1) * (1.0 + top**-0.5)
    over = np.log(np.maximum(values, 1e-30) / start[:, 0])
    tail = math.log(top / count) - over / np.maximum(index, 0.02)
    ranks = np.log((1.0 + count_of(beside >= values[:, None], axis=1)) / (1.0 + count))
    return np.asarray(np.maximum(np.where(over > 0.0, np.minimum(tail, ranks), ranks), LEAST_LOG))


def log_chances(values: Levels) -> Levels:
    """Natural logarithm of the share of each row's values that are as large or larger.

    Both of shape (tracks, values); the ranks suppose nothing of how they are distributed.
    """
    order = np.argsort(-values, axis=1)
    ranks = np.empty_like(order)
    np.put_along_axis(ranks, order, np.arange(1, values.shape[1] + 1)[None, :], axis=1)
    return np.asarray(np.log(ranks / values.shape[1]))


def normal_log_chances(sizes: Levels) -> Levels:
    """Natural logarithm of the chance of a normal deviate beyond each of those, on either side.

    What sounds has longer tails, so that this is the least that it may come to.
    """
    chances = [math.erfc(size * _ROOT_HALF) for size in sizes.tolist()]
    return np.asarray(np.maximum(np.log(np.maximum(chances, _LEAST_CHANCE)), LEAST_LOG))


def combined(log_chance: Levels, beside: Levels) -> float:
    """Natural logarithm of the chance of all of them together.

    Parameters
    ----------
    log_chance : ndarray, shape (tracks,)
        Of each track in that moment.
    beside : ndarray, shape (tracks, moments)
        Of the same tracks in other moments, which say how far they go together.
    """
    tests = len(log_chance)
    # Minus the logarithm of a chance has mean 1 and variance 1.
    together = float(np.cov(beside).sum()) if tests > 1 else 1.0
    inflation = max(1.0, together / tests)
    return log_gamma_tail(-float(log_chance.sum()) / inflation, math.ceil(tests / inflation))


def several(log_chance: Levels, number: int) -> float:
    """Natural logarithm of the chance of all that if fewer than `number` tracks were unusual.

    Partial conjunction (Y. Benjamini, R. Heller, Biometrics 64, 1215-1222, 2008): the strongest
    are left out, one less than the number, and Fisher's sum is that of the rest.
    """
    rest = np.sort(log_chance)[number - 1 :]
    return log_gamma_tail(-float(rest.sum()), len(rest))


def log_gamma_tail(total: float, tests: int) -> float:
    """Natural logarithm of the chance that so many exponential variables of mean 1 add up to that.

    exp(-x) times the first terms of the series of exp(x) (Erlang distribution).
    """
    if total <= 0.0:
        return 0.0
    terms = np.arange(tests)
    logs = terms * math.log(total) - np.array([math.lgamma(n + 1.0) for n in terms.tolist()])
    peak = float(logs.max())
    return min(0.0, peak + math.log(float(np.exp(logs - peak).sum())) - total)


def is_unlikely(sizes: Levels, log_chance: float) -> bool:
    """Whether normal deviates beyond all of those are at most so likely together.

    As `log_gamma_tail` of `normal_log_chances`, most of the time by plain numbers, which are
    quicker for a few: the difference of the two is under `_SURE`, and where it may decide they do.
    """
    total, values = 0.0, sizes.tolist()
    for size in values:
        chance = math.erfc(size * _ROOT_HALF)
        total -= max(math.log(chance), LEAST_LOG) if chance > _LEAST_CHANCE else LEAST_LOG
    likely, term = 0.0, 1.0
    for n in range(len(sizes)):
        likely += term
        term *= total / (n + 1)
    quick = min(0.0, math.log(likely) - total)
    if abs(quick - log_chance) > _SURE and not any(map(math.isnan, values)):
        return quick <= log_chance
    exact = -float(normal_log_chances(sizes).sum())
    return not log_gamma_tail(exact, len(sizes)) > log_chance
