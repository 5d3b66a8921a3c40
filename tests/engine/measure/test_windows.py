"""Sliding windows: exact sums, validity, memory that does not drift."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.measure.windows import HopWindows
from tests.support.strategies import seeds, untimed

LENGTHS = (5, 30)


@untimed
@given(seed=seeds, runs=st.lists(st.integers(1, 4), min_size=1, max_size=120), bad=st.booleans())
def test_means_are_those_of_the_whole_history(seed: int, runs: list[int], bad: bool) -> None:
    """Each mean is that of its window's valid hops, NaN if too few or the window not yet full."""
    rng = np.random.default_rng(seed)
    energy = rng.exponential(1.0, (2, sum(runs))) * 10.0 ** rng.integers(-12, 3, (2, sum(runs)))
    valid = rng.random(energy.shape) > (0.1 if bad else -1.0)
    windows = HopWindows(2, LENGTHS, 4)
    end = 0
    for count in runs:
        part = slice(end, end + count)
        windows.push(energy[:, part], valid[:, part], bool(valid[:, part].all()))
        end += count
        for length in LENGTHS:
            means = windows.means(length, count)
            assert means[:, -1] == pytest.approx(windows.latest(length)[0], rel=1e-12, nan_ok=True)
            for column, last in enumerate(range(end - count + 1, end + 1)):
                expected = _mean(energy[:, :last], valid[:, :last], length)
                assert means[:, column] == pytest.approx(expected, rel=1e-12, nan_ok=True)


def _mean(energy: np.ndarray, valid: np.ndarray, length: int) -> np.ndarray:
    if energy.shape[1] < length:
        return np.full(len(energy), np.nan)
    return np.array(
        [
            e[v].mean() if v.sum() >= 0.75 * length else np.nan
            for e, v in zip(energy[:, -length:], valid[:, -length:], strict=True)
        ]
    )


def test_nothing_is_left_of_a_loud_past() -> None:
    """After any length of full scale, a window of digital zero reads exactly zero."""
    windows = HopWindows(1, LENGTHS, 10)
    loud, quiet = np.full((1, 10), 1.0), np.zeros((1, 10))
    every = np.ones((1, 10), dtype=bool)
    for _ in range(2000):
        windows.push(loud, every, True)
    for _ in range(3):
        windows.push(quiet, every, True)
    assert windows.latest(30)[0] == 0.0
