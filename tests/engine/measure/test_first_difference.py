"""The treble of a tick, shared among detectors."""

import numpy as np
import pytest

from engine.detectors.base import stretches
from engine.measure.first_difference import treble
from tests.support.feed_meter import run
from tests.support.signals import scene, sine

RATE_HZ = 48_000


def test_a_sine_has_the_treble_of_its_frequency() -> None:
    """x[n] - x[n-1] of a sine has 4·sin²(pi·f/fs) times its energy (trigonometry)."""
    hz = 6_000.0
    _, measured = run(sine(-20.0, 0.2, RATE_HZ, hz), scene(1, RATE_HZ))
    m = measured[-1]
    ratio = treble(m, 1)[1:] / m.mean_square[1:]
    assert ratio == pytest.approx(4.0 * np.sin(np.pi * hz / RATE_HZ) ** 2, rel=1e-4)


def test_it_is_made_once() -> None:
    """Who asks second gets the same array, who asks for another lag does not."""
    _, measured = run(sine(-20.0, 0.1, RATE_HZ), scene(1, RATE_HZ))
    m = measured[0]
    assert treble(m, 1) is treble(m, 1)
    assert treble(m, 2) is not treble(m, 1)


def test_stretches_of_true() -> None:
    """Each stretch in a row is found with its first place and the place after its last."""
    begins, ends = stretches(np.array([1, 1, 0, 0, 1, 0, 1, 1], dtype=np.bool_))
    assert begins.tolist() == [0, 4, 6]
    assert ends.tolist() == [2, 5, 8]
    assert [len(found) for found in stretches(np.zeros(3, dtype=np.bool_))] == [0, 0]
