"""Against numpy's nanquantile."""

from __future__ import annotations

import warnings

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.early_signs.known_values import quantile
from tests.support.strategies import seeds, untimed


@given(seeds, st.floats(0.0, 1.0), st.integers(1, 40))
@untimed
def test_it_is_numpys(seed: int, share: float, rows: int) -> None:
    """Any share, with and without NaN, also columns that have nothing else."""
    rng = np.random.default_rng(seed)
    values = rng.standard_normal((rows, 9))
    values[rng.random((rows, 9)) < 0.3] = np.nan
    values[:, 0] = np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        expected = np.nanquantile(values, share, axis=0)
    np.testing.assert_allclose(quantile(values, share), expected, rtol=1e-12, atol=1e-12)
