"""Levels as the log stores them, there and back."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from engine.session.second_levels import (
    ENVELOPE_STEP_DB,
    ENVELOPE_STEPS,
    pack_envelope,
    pack_levels,
    unpack_envelope,
    unpack_levels,
)

DBFS = st.one_of(st.floats(-120.0, 0.0), st.just(np.nan))


@given(arrays(np.float64, (3, 5), elements=DBFS))
def test_a_second_comes_back_to_a_hundredth_of_a_db(levels: np.ndarray) -> None:
    """Momentary, peak and RMS come back, NaN as NaN."""
    back = unpack_levels(pack_levels(*levels), 5)
    np.testing.assert_allclose(back, levels, atol=0.005 + 1e-9)


@given(arrays(np.float64, (ENVELOPE_STEPS, 4), elements=DBFS))
def test_the_envelope_comes_back_to_half_a_step(rms_dbfs: np.ndarray) -> None:
    """Each tenth of a second comes back within half a step, NaN as NaN, in a byte each."""
    blob = pack_envelope(rms_dbfs)
    assert len(blob) == ENVELOPE_STEPS * 4
    back = unpack_envelope(blob, 4)
    np.testing.assert_allclose(back, rms_dbfs, atol=ENVELOPE_STEP_DB / 2 + 1e-4)


def test_no_level_at_all_is_the_lowest_of_the_envelope() -> None:
    """Digital zero is known to be quiet, which is another thing than unknown."""
    back = unpack_envelope(pack_envelope(np.array([[-200.0, np.nan]])), 2)
    assert back[0, 0] < -120.0
    assert np.isnan(back[0, 1])
