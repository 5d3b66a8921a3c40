"""Percentiles are those of numpy, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.percentiles import percentiles


@given(
    st.lists(st.floats(-200.0, 10.0) | st.just(np.nan), min_size=1, max_size=60),
    st.lists(st.floats(0.0, 100.0) | st.sampled_from([10.0, 50.0, 90.0]), min_size=1, max_size=3),
)
@pytest.mark.filterwarnings("ignore:All-NaN slice encountered")
def test_they_are_those_of_numpy(values: list[float], percents: list[float]) -> None:
    """With values that are missing, one alone and none at all."""
    said = percentiles(np.array(values), *percents)
    assert np.array_equal(said, np.nanpercentile(values, percents), equal_nan=True)
