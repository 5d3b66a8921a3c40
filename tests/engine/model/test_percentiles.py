"""Percentiles are those of numpy, to the last bit."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.percentiles import (
    known_median,
    known_medians,
    median,
    medians,
    percentiles,
    quantiles,
)


@given(
    st.lists(st.floats(-200.0, 10.0) | st.just(np.nan), min_size=1, max_size=60),
    st.lists(st.floats(0.0, 100.0) | st.sampled_from([10.0, 50.0, 90.0]), min_size=1, max_size=3),
)
@pytest.mark.filterwarnings("ignore:All-NaN slice encountered")
def test_they_are_those_of_numpy(values: list[float], percents: list[float]) -> None:
    """With values that are missing, one alone and none at all."""
    said = percentiles(np.array(values), *percents)
    assert np.array_equal(said, np.nanpercentile(values, percents), equal_nan=True)


VALUES = st.lists(st.floats(-200.0, 10.0) | st.just(np.nan), min_size=1, max_size=40)


@given(VALUES, st.sampled_from([np.float32, np.float64]))
@pytest.mark.filterwarnings("ignore:All-NaN slice encountered")
def test_medians_are_those_of_numpy(given_values: list[float], kind: type) -> None:
    """Of an even and an odd number, in single precision as well, with values that are missing."""
    values = np.array(given_values, dtype=kind)
    known = np.float64(values)
    assert np.array_equal(median(values), np.median(values), equal_nan=True)
    assert median(values).dtype == np.median(values).dtype
    assert np.array_equal(known_median(known), np.nanmedian(known), equal_nan=True)


@given(VALUES, st.integers(1, 4))
@pytest.mark.filterwarnings("ignore:All-NaN slice encountered")
def test_medians_of_rows_and_columns_are_those_of_numpy(given_values: list[float], by: int) -> None:
    """Along either axis, and of what is known alone."""
    table = np.resize(np.array(given_values), (-(-len(given_values) // by), by))
    for axis in (0, 1):
        theirs = np.median(table, axis=axis, keepdims=True)
        assert np.array_equal(medians(table, axis), theirs, equal_nan=True)
    assert np.array_equal(known_medians(table), np.nanmedian(table, axis=0), equal_nan=True)


@given(
    st.lists(st.floats(0.0, 1e3), min_size=2, max_size=60),
    st.integers(1, 4),
    st.floats(0.0, 1.0) | st.sampled_from([0.1, 0.5]),
)
def test_quantiles_are_those_of_numpy(given_values: list[float], by: int, share: float) -> None:
    """Of each column, at the ends too."""
    rows = max(2, -(-len(given_values) // by))
    table = np.resize(np.array(given_values), (rows, by))
    assert np.array_equal(quantiles(table, share), np.quantile(table, share, axis=0))


def test_a_median_loads_no_masked_arrays() -> None:
    """They take 20 ms of each start."""
    code = """import sys, numpy as np
from engine.model.percentiles import known_medians, median, medians
values = np.array([[1.0, np.nan], [2.0, 3.0]])
median(values[:, 0]), medians(values, 0), known_medians(values)
sys.exit("numpy.ma" in sys.modules)"""
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_median_of_nothing_is_none() -> None:
    """Without a warning."""
    assert np.isnan(median(np.zeros(0)))
