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
