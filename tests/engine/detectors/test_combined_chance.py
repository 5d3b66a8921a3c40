"""Combined chances, held against SciPy and against sound that is what the methods suppose."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from engine.detectors.combined_chance import (
    combined,
    is_unlikely,
    log_chances,
    log_gamma_tail,
    normal_log_chances,
    several,
    tail_log_chances,
)

CHANCES = st.lists(st.floats(1e-5, 1.0), min_size=2, max_size=16)


@given(chances=CHANCES)
def test_several_of_one_is_fishers_method(chances: list[float]) -> None:
    """`scipy.stats.combine_pvalues` says the same of at least one."""
    expected = stats.combine_pvalues(chances, method="fisher").pvalue
    assert several(np.log(chances), 1) == pytest.approx(math.log(expected), rel=1e-6, abs=1e-9)


@given(total=st.floats(0.0, 200.0), tests=st.integers(1, 20))
def test_gamma_tail(total: float, tests: int) -> None:
    """`scipy.stats.gamma` says the same of the sum of so many exponential variables."""
    expected = float(stats.gamma.logsf(total, tests))
    assert log_gamma_tail(total, tests) == pytest.approx(expected, rel=1e-6, abs=1e-9)


@given(chances=CHANCES, number=st.integers(1, 16), index=st.integers(0, 15))
def test_what_is_rarer_on_a_track_is_rarer_in_all(
    chances: list[float], number: int, index: int
) -> None:
    """A smaller chance of any one track makes that of all no larger."""
    logs = np.log(chances)
    rarer = logs.copy()
    rarer[index % len(logs)] -= 2.0
    number = min(number, len(logs))
    assert several(rarer, number) <= several(logs, number) + 1e-9


def test_independent_tracks_are_no_rarer_than_said() -> None:
    """Of 20000 moments of noise no more fall under a hundredth than the binomial law allows, and
    not many fewer."""
    rng = np.random.default_rng(1)
    logs = log_chances(rng.standard_normal((6, 20_000)))
    said = [combined(logs[:, n], logs[:, :2000]) for n in range(20_000)]
    share = np.mean(np.array(said) < math.log(0.01))
    assert 0.005 < share < 0.01 + 4.0 * math.sqrt(0.01 * 0.99 / 20_000)


def test_tracks_that_go_together_count_as_fewer() -> None:
    """Six inputs of one signal say in 20000 moments hardly more than one of them."""
    rng = np.random.default_rng(2)
    one = rng.standard_normal(20_000)
    logs = log_chances(np.tile(one, (6, 1)) + 0.01 * rng.standard_normal((6, 20_000)))
    said = np.array([combined(logs[:, n], logs[:, :2000]) for n in range(20_000)])
    assert said.min() > math.log(1e-6)
    assert said.min() > logs.sum(axis=0).min() / 4.0


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**31), heavy=st.floats(2.5, 20.0))
def test_a_tail_is_seldom_drawn_too_thin(seed: int, heavy: float) -> None:
    """Beyond 2400 values of Student's t with any freedom, what is ten times as rare as their
    largest is said no rarer than a thousand times as rare as it is."""
    beside = np.abs(stats.t.rvs(heavy, size=(1, 2400), random_state=seed))
    value = stats.t.isf(0.5e-5 * 4.0, heavy)
    said = tail_log_chances(np.array([value]), beside)[0]
    assert said > math.log(2.0 * stats.t.sf(value, heavy)) - math.log(1000.0)


def test_ranks_are_shares() -> None:
    """The largest of four has a chance of a quarter, the smallest of one."""
    logs = log_chances(np.array([[3.0, 1.0, 4.0, 2.0]]))
    assert np.exp(logs[0]) == pytest.approx([0.5, 1.0, 0.25, 0.75])


def test_normal_deviates() -> None:
    """Beyond 1.96 lie 5 % (tables of the normal distribution)."""
    assert normal_log_chances(np.array([1.96]))[0] == pytest.approx(math.log(0.05), abs=1e-3)


@given(
    sizes=st.lists(st.floats(0.0, 9.0), min_size=1, max_size=16),
    limit=st.floats(-60.0, -1e-3),
)
def test_unlikely_is_what_the_chances_say(sizes: list[float], limit: float) -> None:
    """The quick answer is that of the sums, up to the very bound."""
    values = np.array(sizes)
    exact = log_gamma_tail(-float(normal_log_chances(values).sum()), len(values))
    assert is_unlikely(values, limit) == (exact <= limit)
    assert is_unlikely(values, exact)
