"""A second joins its ticks without changing a figure."""

from __future__ import annotations

import numpy as np

from engine.early_signs.second import Second
from tests.support.measured import measured


def test_ticks_are_joined_in_their_order() -> None:
    """Sound end to end, hops by tick; a voice in one hop makes its tick voiced, white noise not."""
    rng = np.random.default_rng(0)
    ticks = [measured(n, 3, rng) for n in range(10)]
    for tick, track in ((4, 1), (6, 2)):
        ticks[tick].speech[5, track] = True
    ticks[6].difference_energy[5, 2] = 2e-6  # of a mean square of 1e-6: white
    second = Second.of(ticks)
    np.testing.assert_array_equal(second.decimated[:, 800:1000], ticks[4].decimated)
    assert np.argwhere(second.voiced).tolist() == [[4, 0, 1]]
    assert np.argwhere(second.bright).tolist() == [[6, 5, 2]]


def test_the_treble_of_quiet_moments_is_that_of_the_third_quietest_hop() -> None:
    """White noise has steps of twice its own power (calculated): a voice in seven of ten hops does
    not move it; of a tick with a lost hop nothing is known."""
    rng = np.random.default_rng(1)
    ticks = [measured(n, 2, rng) for n in range(10)]
    ticks[3].difference_energy[3:, 0] = 1e-2
    ticks[5].valid[0, 1] = False
    quiet = Second.of(ticks).quiet_treble()
    assert quiet.shape == (10, 2)
    np.testing.assert_allclose(quiet[:, 0], 3e-7, rtol=1e-6)
    assert np.flatnonzero(np.isnan(quiet[:, 1])).tolist() == [5]
