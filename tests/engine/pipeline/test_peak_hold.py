"""The peaks that the board shows, and how long the highest is held. Common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from engine.model.units import FLOOR_DB
from engine.pipeline.peak_hold import PEAK_HOLD_TICKS, PeakHold
from tests.support.feeding import tick


def test_the_highest_is_held_for_two_seconds() -> None:
    """A peak shows at once, is held for twenty ticks, and is gone with the next."""
    hold, quiet = PeakHold(2), tick(0)
    low = replace(
        quiet,
        peak_max=np.full_like(quiet.peak_max, 0.01),
        peak_min=np.full_like(quiet.peak_min, -0.01),
    )
    high = replace(low, peak_min=np.full_like(low.peak_min, -0.5))
    hold.update(high, 1)
    assert hold.peak_dbfs == pytest.approx([-6.02, -6.02], abs=0.01)
    for number in range(2, 1 + PEAK_HOLD_TICKS):
        hold.update(low, number)
        assert hold.peak_dbfs == pytest.approx([-40.0, -40.0])
        assert hold.hold_dbfs == pytest.approx([-6.02, -6.02], abs=0.01)
    hold.update(low, 1 + PEAK_HOLD_TICKS)
    assert hold.hold_dbfs == pytest.approx([-40.0, -40.0])
    hold.reset()
    assert hold.hold_dbfs.tolist() == hold.peak_dbfs.tolist() == [FLOOR_DB, FLOOR_DB]
