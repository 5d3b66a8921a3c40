"""DC offset; the deadline as in CONTRACT.md, the mean by its definition.

Least offset: ours.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.dc import DC
from tests.support.signals import noise, scene, sine
from tests.support.watching import told

RATE = 48_000
ONE = scene(1, RATE)


@pytest.mark.parametrize("offset", [0.05, -0.05, 0.3])
def test_an_offset_is_told_before_its_deadline(offset: float) -> None:
    """From its onset, within 5 s, until it goes."""
    x = noise(-30.0, 12.0, RATE, seed=1)
    x[round(3.25 * RATE) : round(9.0 * RATE)] += offset
    said = told(DC(ONE), x, ONE)
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(3.25, abs=0.11)
    assert last_s == pytest.approx(9.0, abs=0.11)
    assert 0.1 * (said.states.index(1) + 1) <= 3.25 + 5.0


def test_sound_has_none() -> None:
    """Low notes, gusts and half of the offset say nothing."""
    x = sine(-3.0, 12.0, RATE, 27.5) + noise(-40.0, 12.0, RATE, seed=2)
    gust = np.hanning(2 * RATE)[:, None].astype(np.float32) * 0.4
    x[2 * RATE : 4 * RATE] += gust * np.sin(2 * np.pi * 0.9 * np.arange(2 * RATE) / RATE)[:, None]
    assert not told(DC(ONE), x, ONE).spans_s
    assert not told(DC(ONE), noise(-30.0, 6.0, RATE) + np.float32(0.025), ONE).spans_s


@pytest.mark.parametrize(("offset", "says"), [(0.062, "+6 %"), (-0.2, "−20 %")])
def test_its_detail_says_to_which_side(offset: float, says: str) -> None:
    """A positive offset takes headroom from the top, a negative one from below."""
    detector = DC(ONE)
    said = told(detector, noise(-30.0, 4.0, RATE, seed=1) + np.float32(offset), ONE)
    assert says in detector.detail(0)
    assert not said.may_be_red


def test_an_offset_that_sways_about_its_least_is_one_fault() -> None:
    """Between 0.038 and 0.052 of full scale it is told once, and over once it falls to 0.02."""
    x = noise(-50.0, 16.0, RATE, seed=1)
    level = np.where(np.arange(12 * RATE) // (3 * RATE) % 2 == 0, 0.052, 0.038)
    x[: 12 * RATE] += level[:, None].astype(np.float32)
    x[12 * RATE :] += np.float32(0.02)
    ((onset_s, last_s),) = told(DC(ONE), x, ONE).spans_s
    assert onset_s == pytest.approx(0.0, abs=0.11)
    assert last_s == pytest.approx(12.0, abs=0.11)
