"""Samples that are no numbers are lost samples of their track.

NaN and infinity: IEEE 754.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.invalid_samples import InvalidSamples
from engine.model.messages import State
from tests.support.signals import noise, scene
from tests.support.watching import lost, told

RATE = 8_000
SCENE = scene(tracks=2, rate_hz=RATE)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_one_bad_sample_is_told(bad: float) -> None:
    """A single sample that is no number is told of its track alone, in its tick alone."""
    x = noise(-50.0, 2.0, RATE, tracks=2)
    x[4_321, 1] = bad
    detector = InvalidSamples(SCENE)
    said = told(detector, x, SCENE, place=1)
    assert said.states.count(State.ACTIVE) == 1
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(0.54)
    assert last_s == pytest.approx(0.55)
    assert not said.may_be_red
    assert detector.detail(1).startswith("1 invalid")
    assert State.ACTIVE not in told(InvalidSamples(SCENE), x, SCENE, place=0).states


def test_more_than_a_second_of_them_may_be_red() -> None:
    """More than a second of no numbers within a minute deserves red."""
    x = noise(-50.0, 2.0, RATE, tracks=2)
    x[: RATE + 1, 0] = np.nan
    assert told(InvalidSamples(SCENE), x, SCENE).may_be_red
    x[RATE, 0] = 0.0
    assert not told(InvalidSamples(SCENE), x, SCENE).may_be_red


def test_zeros_and_lost_frames_are_numbers() -> None:
    """Digital zero, denormals, full scale and lost frames are not told here."""
    x = np.zeros((2 * RATE, 2), dtype=np.float32)
    x[RATE:] = 1e-41
    x[RATE + 100 :] = 1.0
    missing = lost(len(x), (1_000, 2_000))
    assert State.ACTIVE not in told(InvalidSamples(SCENE), x, SCENE, missing=missing).states
