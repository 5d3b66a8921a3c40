"""Gain and polarity of two sounds, against numpy's own correlation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.measure.pair_comparison import gain_offset_db, polarity


@given(st.integers(0, 2**16), st.floats(-40.0, 40.0), st.sampled_from([1.0, -1.0]))
def test_a_copy_tells_its_gain_and_sign(seed: int, gain_db: float, sign: float) -> None:
    """Of a copy turned over or not, at any gain, r is 1 or -1 and the offset is the gain."""
    x = np.random.default_rng(seed).standard_normal(200)
    y = sign * x * 10.0 ** (-gain_db / 20.0)
    lags = np.correlate(np.pad(y, 3), x)
    energies = np.array([x @ x, y @ y])
    assert polarity(lags, energies, 1.2) == (sign, pytest.approx(np.corrcoef(x, y)[0, 1]))
    assert gain_offset_db(energies[:1], energies[1:])[0] == pytest.approx(gain_db, abs=1e-9)


def test_two_signs_alike_say_nothing() -> None:
    """Where both signs are as strong neither is clear."""
    assert polarity(np.array([0.8, -0.8]), np.ones(2), 1.2)[0] == 0
