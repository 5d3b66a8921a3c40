"""The charts against simulation and Siegmund's formula, and what a change does to them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from engine.early_signs.charts import (
    COUNT_LIMITS,
    FIRST_PERIODS,
    LEVEL_LIMIT,
    NORMAL_PERIODS,
    Chart,
    CountChart,
)


def run_length(limit: float, slack: float = 0.5) -> float:
    """Samples until a false signal: Siegmund, "Sequential Analysis" (1985), eq. 2.55."""
    b = limit + 1.166
    return (math.exp(2 * slack * b) - 2 * slack * b - 1) / (2 * slack**2)


def fed(chart: Chart, rows: np.ndarray) -> int | None:
    """The first period in which the chart signals on track 0; None where it never does."""
    for n, row in enumerate(rows):
        chart.add(row)
        if chart.signals[0]:
            return n
    return None


def test_the_formula_agrees_with_a_simulated_sum() -> None:
    """With a limit of 4 a false signal comes after as many normal samples as the formula says."""
    rng = np.random.default_rng(5)
    lengths = []
    for _ in range(300):
        total, n = 0.0, 0
        while total <= 4.0:
            total, n = max(total + rng.standard_normal() - 0.5, 0.0), n + 1
        lengths.append(n)
    assert np.mean(lengths) == pytest.approx(run_length(4.0), rel=0.2)


def test_health_signals_no_more_often_than_the_formula_says() -> None:
    """Three hours of normal noise on 60 tracks: at most three times the signals of a known normal,
    for ours is learned from ten minutes."""
    rng = np.random.default_rng(12)
    chart = Chart(60)
    ever = np.zeros(60, dtype=bool)
    for row in rng.normal(-60.0, 1.5, (1080, 60)):
        chart.add(row)
        ever |= chart.signals
    assert np.count_nonzero(ever) <= 3 * 60 * 1080 / run_length(LEVEL_LIMIT)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("by", [1.5, 4.0])
def test_a_lasting_rise_is_told_within_two_minutes(seed: int, by: float) -> None:
    """A level that rose by so many deviations and stays is told from chance."""
    rng = np.random.default_rng(seed)
    rows = rng.normal(0.0, 1.0, (NORMAL_PERIODS + 30, 1))
    rows[NORMAL_PERIODS:] += by + 1.0
    at = fed(Chart(1), rows)
    assert at is not None
    assert at - NORMAL_PERIODS <= 18


def test_one_wild_figure_is_no_change() -> None:
    """A single figure, however far off, does not signal."""
    chart = Chart(1, 1.0, both_ways=True)
    rows = np.zeros((NORMAL_PERIODS, 1))
    assert fed(chart, np.vstack([rows, [[1e6]], np.zeros((30, 1))])) is None


def test_nothing_is_said_before_a_normal_is_known() -> None:
    """In the first three minutes there is nothing to compare with."""
    chart = Chart(1)
    for n in range(FIRST_PERIODS - 1):
        chart.add(np.array([float(n)]))
    assert np.isnan(chart.normal[0])
    assert not chart.signals[0]


def test_unknown_figures_leave_a_chart_as_it_was() -> None:
    """NaN says nothing: sums and normal stay."""
    chart = Chart(2, 1.0)
    for _ in range(30):
        chart.add(np.array([1.0, np.nan]))
    assert chart.normal[0] == 1.0
    assert np.isnan(chart.normal[1])
    assert np.isnan(chart.now[1])


def test_rare_events_that_come_more_often_are_told() -> None:
    """From none to three a minute: told within two minutes; one alone is not."""
    quiet, busy = np.zeros((NORMAL_PERIODS, 1)), np.full((12, 1), 0.0)
    busy[::2] = 1.0
    at = fed(CountChart(1), np.vstack([quiet, busy]))
    assert at is not None
    assert at - NORMAL_PERIODS < 12
    alone = np.zeros((30, 1))
    alone[3] = 1.0
    assert fed(CountChart(1), np.vstack([quiet, alone])) is None


@pytest.mark.parametrize("seed", range(5))
def test_a_steady_rate_is_normal(seed: int) -> None:
    """Two clicks a minute all night on 8 tracks (Poisson): no signal in two hours."""
    rng = np.random.default_rng(seed)
    chart = CountChart(8)
    for row in rng.poisson(0.33, (720, 8)).astype(float):
        chart.add(row)
    assert np.count_nonzero(chart.signals) <= 1


def count_run_length(rate: float, limit: float, states: int = 600) -> float:
    """Periods until such counts alone take the sum over that limit.

    By the Markov chain of D. Brook and D. A. Evans, Biometrika 59 (1972), 539-549: the sum in
    steps, what falls between two of them shared among both.
    """
    more = max(3.0 * rate, rate + 0.1)
    step = limit / (states - 0.5)
    counts = np.arange(int(stats.poisson.isf(1e-12, rate)) + 2)
    stay, begin = np.zeros((states, states)), np.arange(states)
    for count, chance in zip(counts, stats.poisson.pmf(counts, rate), strict=True):
        total = np.maximum(begin * step + count * np.log(more / rate) - (more - rate), 0.0) / step
        low = np.floor(total).astype(int)
        for to, share in ((low, 1.0 - (total - low)), (low + 1, total - low)):
            inside = to < states
            np.add.at(stay, (begin[inside], to[inside]), chance * share[inside])
    return float(np.linalg.solve(np.eye(states) - stay, np.ones(states))[0])


@pytest.mark.parametrize(
    "rate", [0.001, 0.0015, 0.004, 0.012, 0.02, *(rate for rate, _ in COUNT_LIMITS), 0.07, 0.3, 2.0]
)
def test_a_steady_rate_is_silent_as_long_as_the_limits_say(rate: float) -> None:
    """20,000 periods and more, 55 hours, between two false signals, however rare events are."""
    rates, limits = np.transpose(COUNT_LIMITS)
    limit = float(np.interp(np.log(rate), np.log(rates), limits))
    assert count_run_length(rate, limit) >= 20_000


def test_two_rare_events_within_three_minutes_are_told() -> None:
    """Where none came in ten minutes; half an hour apart they are chance."""
    for apart, told in ((17, True), (180, False)):
        rows = np.zeros((NORMAL_PERIODS + 200, 1))
        rows[NORMAL_PERIODS + 5] = rows[NORMAL_PERIODS + 5 + apart] = 1.0
        assert (fed(CountChart(1, 0.0015), rows) is not None) == told


@given(
    st.lists(st.floats(-90.0, 0.0), min_size=FIRST_PERIODS, max_size=NORMAL_PERIODS),
    st.booleans(),
)
def test_a_chart_begun_from_a_summary_judges_as_the_one_that_made_it(
    figures: list[float], counts: bool
) -> None:
    """Normal and deviation are the same, and so is what any figure adds to the sum then."""
    made, again = (CountChart(1), CountChart(1)) if counts else (Chart(1, 1.0), Chart(1, 1.0))
    for figure in figures:
        made.add(np.array([abs(figure) if counts else figure]))
    again.begin_from(made.summary)
    np.testing.assert_allclose(again.summary, made.summary, atol=1e-9)
    made.rise[:] = 0.0
    figure = made.normal + 3.0
    for chart in (made, again):
        chart.add(figure)
    np.testing.assert_allclose(again.rise, made.rise, rtol=1e-6, atol=1e-6)
