"""Percentiles and medians of a few numbers, as numpy says them, in a tenth of the time.

The first median that numpy works out loads its masked arrays, which takes 20 ms of each start.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import count_of
from engine.model.messages import Levels


def percentiles(values: Levels, *percents: float) -> list[float]:
    """Those percentiles of values of shape (number,), between two of them on a straight line.

    NaN is no value; where there is none the percentiles are NaN. Bit for bit `np.nanpercentile`.
    """
    ranked = np.sort(values).tolist()
    number = len(ranked)
    while number and ranked[number - 1] != ranked[number - 1]:  # NaN is sorted to the end
        number -= 1
    if not number:
        return [np.nan] * len(percents)
    said = []
    for percent in percents:
        at = (number - 1) * (percent / 100.0)
        share = at - int(at)
        below, above = ranked[int(at)], ranked[min(int(at) + 1, number - 1)]
        step = above - below
        said.append(above - step * (1.0 - share) if share >= 0.5 else below + step * share)
    return said


def median(values: NDArray[np.floating[Any]]) -> np.floating[Any]:
    """The median of values of shape (number,), of their own kind; bit for bit `np.median`.

    NaN where any value is NaN, and where there is none.
    """
    ranked = np.sort(values)
    number = len(ranked)
    said: np.floating[Any]
    if not number or ranked[-1] != ranked[-1]:  # NaN is sorted to the end
        said = ranked.dtype.type(np.nan)
    elif number % 2:
        said = ranked[number // 2]
    else:
        said = (ranked[number // 2 - 1] + ranked[number // 2]) / 2
    return said


def known_median(values: Levels) -> np.floating[Any]:
    """The median of those that are no NaN."""
    return median(values[~np.isnan(values)])


def medians(values: NDArray[np.floating[Any]], axis: int) -> NDArray[np.floating[Any]]:
    """The same along that axis, which stays with one value; there is one value at least."""
    ranked = np.sort(values, axis=axis)
    middle = ((ranked.shape[axis] - 1) // 2, ranked.shape[axis] // 2)
    below, above, last = (ranked.take([at], axis=axis) for at in (*middle, -1))
    return np.where(np.isnan(last), last, (below + above) / 2)


def quantiles(values: Levels, share: float) -> Levels:
    """That quantile of each column of values of shape (number, ...), two at least and no NaN; bit
    for bit `np.quantile`."""
    at = (len(values) - 1) * share
    low = min(int(at), len(values) - 2)
    ranked = np.partition(values, (low, low + 1), axis=0)
    below, above = ranked[low], ranked[low + 1]
    step, rest = above - below, at - low
    return np.asarray(above - step * (1.0 - rest) if rest >= 0.5 else below + step * rest)


def known_medians(values: Levels) -> Levels:
    """Those of the columns of values of shape (number, ...); NaN is no value, and what is said
    where there is none. Bit for bit `np.nanmedian`."""
    ranked = np.sort(values, axis=0)
    number = count_of(~np.isnan(values), axis=0)[np.newaxis]
    below, above = (
        np.take_along_axis(ranked, at, axis=0)[0]
        for at in (np.maximum(number - 1, 0) // 2, number // 2)
    )
    return np.asarray((below + above) / 2)
