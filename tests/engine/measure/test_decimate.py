"""The slow sound: means over half a millisecond, checked against their own mathematics."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.measure.decimate import Decimate
from engine.model.units import hop_frames
from tests.support.signals import RATES_HZ, noise, sine


@pytest.mark.parametrize("rate", [8_000, 22_050, 32_000, *RATES_HZ])
def test_near_two_kilohertz_at_every_rate(rate: int) -> None:
    """The slow rate is about 2 kHz and divides a hop."""
    slow = Decimate(rate)
    assert 1_600 <= slow.rate_hz <= 2_500
    assert slow.factor * slow.hop_frames == hop_frames(rate) == round(rate / 100)


@given(st.sampled_from([47_952, 44_056, 88_112, 95_904, 96_096]) | st.integers(8_000, 768_000))
def test_near_two_kilohertz_at_odd_rates_too(rate: int) -> None:
    """Rates pulled up or down by 0.1 % and all others: a hop is 10 ms within 3 % and divides."""
    slow = Decimate(rate)
    assert 1_500 <= slow.rate_hz <= 2_700
    assert slow.factor * slow.hop_frames == hop_frames(rate) == pytest.approx(rate / 100, rel=0.03)


@pytest.mark.parametrize("hz", [50.0, 180.0, 600.0])
def test_gain_is_what_it_leaves_of_a_sine(hz: float) -> None:
    """A sine comes out as much smaller as `gain` says."""
    slow = Decimate(48_000)
    out = slow(np.ascontiguousarray(sine(0.0, 1.0, 48_000, hz).T))[0]
    assert np.sqrt(2.0 * np.mean(out**2)) == pytest.approx(
        float(slow.gain(np.array([hz]))[0]), rel=0.005
    )


def test_white_noise_stays_white() -> None:
    """White noise keeps 1/24 of its power, and neighbouring samples are not correlated."""
    out = Decimate(48_000)(np.ascontiguousarray(noise(-20.0, 2.0, 48_000).T))[0].astype(np.float64)
    assert np.mean(out**2) * 24 == pytest.approx(0.005, rel=0.05)
    assert abs(np.corrcoef(out[1:], out[:-1])[0, 1]) < 0.05
