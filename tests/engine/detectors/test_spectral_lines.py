"""Lines of a short spectrum, against sines whose numbers are known; level by AES17."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.spectral_lines import SpectralLines
from tests.support.signals import noise

RATE = 48_000


@given(hz=st.floats(400.0, 15_000.0), level_dbfs=st.floats(-60.0, -3.0), phase=st.floats(0.0, 6.28))
def test_a_sine_is_found_where_it_is(hz: float, level_dbfs: float, phase: float) -> None:
    """One line, to a twentieth of a bin and a tenth of a decibel, wherever it lies between bins."""
    at_s = np.arange(RATE // 10) / RATE
    x = 10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * np.pi * hz * at_s + phase)
    lines = SpectralLines(RATE, contrast=10.0, beside_bins=16).find(x[None].astype(np.float32))
    strongest = int(np.argmax(lines[0][1]))
    assert lines[0][0][strongest] == pytest.approx(hz, abs=0.5)
    assert lines[0][1][strongest] == pytest.approx(level_dbfs, abs=0.1)


def test_noise_has_hardly_a_line() -> None:
    """Each row for itself: one bin in two thousand or so, its power against the mean of 26 that
    overlap."""
    x = noise(-20.0, 10.0, RATE, seed=3)[:, 0].reshape(100, -1)
    found = SpectralLines(RATE, contrast=10.0, beside_bins=16).find(x)
    assert len(found) == 100
    assert sum(len(hz) for hz, _ in found) < 100 * 1600 / 1_500
