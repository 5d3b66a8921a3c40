"""The interface's clock against the computer's."""

from __future__ import annotations

import numpy as np
import pytest

from engine.sources.clock_drift import ClockDrift

RATE_HZ = 48_000


def measured(ppm: float, minutes: float, jitter_s: float = 0.01, bad: float = 0.0) -> ClockDrift:
    """The drift of an interface that is `ppm` fast; each block late by chance, some by a lot."""
    rng = np.random.default_rng(3)
    drift, frames, now_s = ClockDrift(RATE_HZ), 960, 0.0
    for n in range(round(minutes * 60 * RATE_HZ / frames)):
        due_s = n * frames / (RATE_HZ * (1.0 + ppm / 1e6))
        late_s = rng.exponential(jitter_s) + (0.5 if rng.random() < bad else 0.0)
        now_s = max(now_s, 100.0 + due_s + late_s)
        drift.add(now_s, frames)
    return drift


@pytest.mark.parametrize("ppm", [-300.0, -20.0, 0.0, 5.0, 200.0])
def test_a_known_drift_is_found(ppm: float) -> None:
    """With 10 ms of jitter a drift is known to 5 ppm after three minutes."""
    assert measured(ppm, 3.0).ppm == pytest.approx(ppm, abs=5.0)


def test_blocks_that_come_very_late_do_not_matter() -> None:
    """Now and then half a second late, as on a busy machine, changes nothing."""
    assert measured(50.0, 3.0, bad=0.002).ppm == pytest.approx(50.0, abs=5.0)


def test_nothing_is_said_of_the_first_minute() -> None:
    """Before a minute was heard the drift is unknown."""
    assert measured(50.0, 0.9).ppm is None
