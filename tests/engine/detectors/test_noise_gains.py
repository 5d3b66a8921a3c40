"""What the voice says of a noise that rose: a gain that was turned moves it as well."""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.noise_gains import TurnedGain

QUIET_DBFS = -60.0
ROSE_DB = 14.0


@pytest.mark.parametrize(
    ("now_dbfs", "turned"), [(-30.0, False), (-30.0 + ROSE_DB, True)], ids=["noise", "gain"]
)
@pytest.mark.parametrize("own", [0.15, 0.25, 0.5])
def test_a_wearer_who_speaks_up_after_others_turned_no_gain(
    now_dbfs: float, turned: bool, own: float
) -> None:
    """Others spoke most of the minute, 13 dB fainter on this pack; then its wearer alone does, as
    loud as before. The spread of 6 dB is that of levels in running speech over a tenth of a second
    (common practice, no source)."""
    rng = np.random.default_rng(4)
    before_dbfs = np.where(rng.random(500) < own, -30.0, -43.0)
    levels_dbfs = np.append(before_dbfs, np.full(80, now_dbfs)) + rng.normal(0.0, 6.0, 580)
    gains = TurnedGain(1)
    for tick, level_dbfs in enumerate(levels_dbfs):
        gains.hear(tick, np.array([10 ** (level_dbfs / 10)]), np.array([1]))
    power = 10 ** (QUIET_DBFS / 10)
    assert gains.is_turned(0, len(levels_dbfs) - 1, 80, power, ROSE_DB) is turned
