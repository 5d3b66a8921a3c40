"""Levels over half a millisecond, held against sums made one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.measure.level import measure_hops
from engine.measure.short_levels import HELD_STEPS, STEP_S, ShortLevels
from engine.model.messages import Samples
from tests.support.signals import RATES_HZ, sine
from tests.support.strategies import takes, untimed

RATE_HZ = 8_000
HOP = 80
TICK = 800


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_steady_sine_has_its_level_in_every_step(rate_hz: int) -> None:
    """A step lasts half a millisecond; over 20 of them a sine at 0 dBFS reads 0 dB (AES17)."""
    hop = rate_hz // 100
    levels = ShortLevels(1, rate_hz, hop)
    steps_db, quietest_db = levels.update(measure_hops(sine(0.0, 0.1, rate_hz), hop))
    assert 0.1 / steps_db.shape[2] == pytest.approx(STEP_S, rel=0.15)
    by_10_ms = 10.0 ** (steps_db[0, 0].reshape(10, -1) / 10.0)
    assert 10.0 * np.log10(by_10_ms.mean(axis=1)) == pytest.approx(np.zeros(10), abs=0.1)
    assert quietest_db.shape == (1, len(HELD_STEPS), 1)


@untimed
@given(take=takes(), together=st.integers(1, 3), bad=st.booleans())
def test_the_quietest_that_held_is_that_of_all_stretches(
    take: Samples, together: int, bad: bool
) -> None:
    """However many ticks come at once, it is the least of the loudest steps of each stretch."""
    ticks = len(take) // TICK
    if bad and ticks:
        take[len(take) // 2] = np.nan
    levels = ShortLevels(take.shape[1], RATE_HZ, HOP)
    steps, quietest = [], []
    for first in range(0, ticks, together):
        count = min(together, ticks - first)
        part = take[first * TICK : (first + count) * TICK]
        steps_db, quietest_db = levels.update(measure_hops(part, HOP, ticks=count))
        steps += list(steps_db)
        quietest += list(quietest_db)
    unknown = np.full((take.shape[1], HELD_STEPS[-1]), np.nan, dtype=np.float32)
    sound = np.concatenate([unknown, *steps], axis=1)
    for tick in range(ticks):
        end = unknown.shape[1] + sum(one.shape[1] for one in steps[: tick + 1])
        for row, held in enumerate(HELD_STEPS):
            every = 1 if held <= 2 * HELD_STEPS[0] else HELD_STEPS[0]
            ends = np.arange(end, end - steps[tick].shape[1], -every)
            loudest = np.array([sound[:, at - held : at].max(axis=1) for at in ends])
            expected = np.fmin.reduce(loudest)
            np.testing.assert_array_equal(quietest[tick][row], expected)
