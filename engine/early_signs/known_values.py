"""Quantiles of what is known, many columns at once: numpy's go through them one by one."""

from __future__ import annotations

import numpy as np

from engine.model.flag_arrays import count_of
from engine.model.messages import Levels


def quantile(values: Levels, share: float) -> Levels:
    """Along the first axis, NaN left out; between two values their nearest mix, as numpy does.

    `values` has shape (rows, columns); NaN where a column has none.
    """
    count = count_of(~np.isnan(values), axis=0)
    ordered = np.sort(values, axis=0)  # NaN last
    at = share * np.maximum(count - 1, 0)
    low = np.floor(at).astype(np.int64)
    high = np.minimum(low + 1, np.maximum(count - 1, 0))
    lower, upper = (np.take_along_axis(ordered, n[None], axis=0)[0] for n in (low, high))
    return np.asarray(lower + (at - low) * (upper - lower))


def median(values: Levels) -> Levels:
    """The same for the middle."""
    return quantile(values, 0.5)
