"""Stuck: a buffer that is played again; times as CONTRACT.md has them.

Lengths of buffers: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.stuck import Stuck
from engine.model.messages import Samples
from tests.support.signals import noise, scene, sine
from tests.support.watching import told

RATE = 48_000
TWO = scene(2, RATE)


def place(seconds: float = 6.0) -> Samples:
    """Two tracks of room noise in 24 bits with words in it."""
    x = noise(-55.0, seconds, RATE, seed=3, tracks=2)
    x[:, 0] += 0.1 * sine(0.0, seconds, RATE, 210.0)[:, 0] * (np.arange(len(x)) // 12000 % 2)
    return (np.round(x * 2**23) / np.float32(2**23)).astype(np.float32)


@pytest.mark.parametrize("period_s", [0.0053, 0.0107, 0.0213, 0.085, 1.0])
def test_a_stuck_buffer_is_told_within_half_a_second(period_s: float) -> None:
    """From its first repeated sample, until live sound comes again."""
    x, at, period = place(), round(2.31 * RATE), round(period_s * RATE)
    x[at : at + 2 * RATE, 1] = np.resize(x[at - period : at, 1], 2 * RATE)
    said = told(Stuck(TWO), x, TWO, 1)
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(2.31, abs=0.005)
    assert last_s == pytest.approx(4.3, abs=0.11)
    first = next(n for n, state in enumerate(said.states) if state > 0)
    assert 0.1 * (first + 1) <= 2.31 + 0.5
    assert not told(Stuck(TWO), x, TWO, 0).spans_s


def test_live_sound_tones_and_silence_are_not_stuck() -> None:
    """A place, a digital tone and digital zero say nothing."""
    x = place()
    assert not told(Stuck(TWO), x, TWO, 0).spans_s
    x[:, 0] = np.round(sine(-20.0, 6.0, RATE, 1000.0)[:, 0] * 2**23) / 2**23
    x[:, 1] = 0.0
    assert not told(Stuck(TWO), x, TWO, 0).spans_s
    assert not told(Stuck(TWO), x, TWO, 1).spans_s
