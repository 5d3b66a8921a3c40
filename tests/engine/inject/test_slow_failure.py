"""What fails slowly is healthy at first, worse and worse, and in a fault at the end."""

from __future__ import annotations

import numpy as np
import pytest

from engine.inject.slow_failure import fail_slowly, outages
from engine.model.messages import Fault, Severity
from engine.model.units import rms_dbfs

RATE = 8000


def place(seconds: float) -> np.ndarray:
    """Two tracks of room noise, RMS 1e-3 (-57 dBFS)."""
    rng = np.random.default_rng(1)
    return (1e-3 * rng.standard_normal((round(seconds * RATE), 2))).astype(np.float32)


@pytest.mark.parametrize("strength", [0.0, 0.5, 1.0])
def test_a_fading_link_has_ever_more_gaps(strength: float) -> None:
    """Digital zero of 5 ms and more (what an alarm calls a gap) comes in the second half, most of
    it in the last quarter, and nothing else changes."""
    clean = place(260.0)
    rng = np.random.default_rng(3)
    done, truth = fail_slowly(clean, RATE, Fault.DROPOUT, 20.0, 260.0, strength, rng)
    np.testing.assert_array_equal(done[:, 1], clean[:, 1])
    np.testing.assert_array_equal(done[: 20 * RATE], clean[: 20 * RATE])
    long = [a for a, b in truth.events_s if b - a >= 0.005]
    quarters = np.histogram(long, bins=np.linspace(20.0, 260.0, 5))[0]
    assert quarters[3] == max(quarters) > 3
    assert quarters[:2].sum() <= 0.2 * len(long)
    assert truth.severity is Severity.RED
    a, b = next((a, b) for a, b in truth.events_s if b - a >= 0.005)
    middle = slice(round((a + 0.002) * RATE), round((b - 0.002) * RATE))
    assert not done[middle, 0].any()


def test_outages_come_as_often_and_last_as_long_as_the_formula_says() -> None:
    """Two antennas at 10 dB: r = 0.316, 0.19 of 1.87 crossings a second, twice; (exp(0.1) - 1) over
    0.316 * 2.6 * 2.507 = 51 ms, halved (Jakes, worked by hand)."""
    rng = np.random.default_rng(2)
    many = outages(10.0, 2000.0, rng)
    assert len(many) == pytest.approx(2000 * 2 * 1.865 * 0.0952, rel=0.1)
    assert np.mean([length for _, length in many]) == pytest.approx(0.0255, rel=0.1)


def test_noise_creeps_up_and_then_quickly() -> None:
    """At strength 0, half way: 0.6 dB over the floor; 5 s before the end 22.6 dB. Powers of
    room and noise add (worked by hand)."""
    clean = place(260.0)
    rng = np.random.default_rng(3)
    done, _ = fail_slowly(clean, RATE, Fault.NOISE, 20.0, 260.0, 0.0, rng)

    def rise_db(at_s: float) -> float:
        part = slice(round((at_s - 1) * RATE), round((at_s + 1) * RATE))
        before, now = (rms_dbfs(np.mean(np.square(x[part, 0]))) for x in (clean, done))
        return float(now - before)

    floor_db = 0.7  # a tenth of the hops lie so far under the mean
    for at_s, over_db in ((30.0, -9.1), (140.0, 0.6), (255.0, 22.6)):
        expected = 10 * np.log10(1 + 10 ** ((over_db - floor_db) / 10))
        assert rise_db(at_s) == pytest.approx(expected, abs=0.7)
    np.testing.assert_array_equal(done[: 20 * RATE], clean[: 20 * RATE])
