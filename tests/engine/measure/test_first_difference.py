"""The energy of the step from sample to sample, against trigonometry."""

import numpy as np
import pytest

from engine.detectors.base import stretches
from engine.measure.first_difference import difference_energy, difference_lag
from tests.support.signals import sine

RATE_HZ = 48_000


def test_a_sine_has_the_energy_of_its_frequency() -> None:
    """x[n] - x[n-1] of a sine has 4·sin²(pi·f/fs) times its energy (trigonometry)."""
    hz = 6_000.0
    x = np.ascontiguousarray(sine(-20.0, 0.1, RATE_HZ, hz).T)
    mean_square = np.square(x.reshape(1, 10, -1)).mean(axis=-1)
    ratio = (difference_energy(x, 10, 1) / mean_square)[:, 1:]
    assert ratio == pytest.approx(4.0 * np.sin(np.pi * hz / RATE_HZ) ** 2, rel=1e-4)


def test_the_step_spans_the_same_time_at_multiples_of_the_rate() -> None:
    """At 96 and 192 kHz a step spans two and four samples; never none."""
    assert [difference_lag(rate) for rate in (8_000, 48_000, 96_000, 192_000)] == [1, 1, 2, 4]


def test_stretches_of_true() -> None:
    """Each stretch in a row is found with its first place and the place after its last."""
    begins, ends = stretches(np.array([1, 1, 0, 0, 1, 0, 1, 1], dtype=np.bool_))
    assert begins.tolist() == [0, 4, 6]
    assert ends.tolist() == [2, 5, 8]
    assert [len(found) for found in stretches(np.zeros(3, dtype=np.bool_))] == [0, 0]
