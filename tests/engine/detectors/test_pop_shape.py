"""The shape of a pop, as circuit theory and the frames of a phone have it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.pop_shape import FRAME_S, is_outlier, keeps_time, stays
from engine.model.messages import Samples

RATE = 48_000
AT = 960


def stepped(height: float, falls_s: float, seed: int = 1) -> Samples:
    """Noise of 0.001, and behind sample `AT` a step that falls by e in so many seconds."""
    x = np.random.default_rng(seed).normal(0.0, 1e-3, 4 * AT)
    x[AT + 1 :] += height * np.exp(-np.arange(3 * AT - 1) / (falls_s * RATE))
    return x


@given(height=st.floats(0.05, 0.8), falls_s=st.floats(0.002, 0.1), seed=st.integers(0, 99))
def test_a_bias_that_jumps_is_an_outlier_that_stays(
    height: float, falls_s: float, seed: int
) -> None:
    """Up or down, however fast its coupling lets it go again."""
    for x in (stepped(height, falls_s, seed), stepped(-height, falls_s, seed)):
        assert is_outlier(x, AT, slice(0, AT - 24), 12.0, 0.02)
        assert stays(x, AT, 0.0, RATE)
    assert not is_outlier(stepped(0.01, falls_s, seed), AT, slice(0, AT - 24), 12.0, 0.02)


@given(hz=st.floats(1500.0, 8000.0), falls_s=st.floats(0.0005, 0.02))
def test_what_rings_does_not_stay(hz: float, falls_s: float) -> None:
    """A drop, a key, a board that was struck."""
    t = np.arange(3 * AT - 1) / RATE
    x = np.zeros(4 * AT)
    x[AT + 1 :] = np.cos(2.0 * np.pi * hz * t) * np.exp(-t / falls_s)
    assert not stays(x, AT, 0.0, RATE)


@pytest.mark.parametrize(("frame_s", "phone"), [(FRAME_S, True), (0.004, False), (0.0063, False)])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_bursts_of_a_phone_keep_time(frame_s: float, phone: bool, rate_hz: int) -> None:
    """Pulses of an eighth of a frame; a contact that bounces does so at times of its own."""
    t = np.arange(round(0.04 * rate_hz)) / rate_hz - 0.01
    x = 0.1 * ((t >= 0.0) & (t % frame_s < frame_s / 8.0))
    step = np.abs(np.diff(x))
    assert keeps_time(step, int(step.argmax()), rate_hz) is phone
