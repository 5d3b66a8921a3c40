"""Short questions to flags answer as numpy's own do."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.model.flag_arrays import any_of, any_of_each, count_of, indices
from engine.model.messages import Flags


def flags(shape: tuple[int, ...], seed: int, share: float) -> Flags:
    """So large a share of them set."""
    return np.random.default_rng(seed).random(shape) < share


@given(
    st.lists(st.integers(0, 7), min_size=1, max_size=3),
    st.integers(0, 99),
    st.sampled_from([0.0, 0.02, 0.5, 1.0]),
)
def test_they_answer_as_numpy_does(shape: list[int], seed: int, share: float) -> None:
    """Of any shape, empty ones and views of others too."""
    some = flags(tuple(shape), seed, share)
    for view in (some, some.T, some[::2], ~some):
        assert any_of(view) == bool(view.any())
        for axis in range(view.ndim):
            assert np.array_equal(count_of(view, axis), np.count_nonzero(view, axis=axis))
        assert any_of_each(view) == [bool(part.any()) for part in view]
    row = some.ravel()
    assert indices(row).tolist() == np.flatnonzero(row).tolist()
    assert indices(row[::3]).tolist() == np.flatnonzero(row[::3]).tolist()
