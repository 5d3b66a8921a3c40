"""Which other tracks rose with a noise."""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.noise_company import is_place, rose_alike, rose_with_pair
from engine.detectors.noise_gains import PairGains

SIX = np.ones(6, dtype=np.bool_)
NONE = ~SIX
ROSE_DB = np.array([52.0, 9.0, 8.0, 7.0, 50.0, 0.0])
"""A noise, three tracks that rose a little, one that rose as far, one that did not."""
SHARES = ROSE_DB > 5.0


@pytest.mark.parametrize(("even", "place"), [(SIX, True), (NONE, False)])
def test_what_rose_a_little_is_the_same_place_where_it_runs_evenly(
    even: np.ndarray, place: bool
) -> None:
    """Rain is even on each, talk is not; who rose as far counts in any case."""
    alike = rose_alike(SHARES, even & SHARES, ROSE_DB, NONE, within_db=8.0)
    assert alike[0].tolist() == [True, place, place, place, True, False]
    assert bool(is_place(alike, SIX)[0]) is place


def test_noise_that_was_told_is_ended_only_by_what_rose_as_far() -> None:
    """However evenly the others rose."""
    alike = rose_alike(SHARES, SHARES, ROSE_DB, SIX, within_db=8.0)
    assert alike[0].tolist() == [True, False, False, False, True, False]
    assert alike[1, :5].all()


@pytest.mark.parametrize(("even", "held"), [(SIX, True), (NONE, False)])
@pytest.mark.parametrize("voice_db", [8.0, np.nan])
def test_a_pair_says_that_it_came_by_air_where_it_rose_alike(
    even: np.ndarray, held: bool, voice_db: float
) -> None:
    """The safety has 8 dB less of what rose, as it has of the voice; unheard, it says nothing."""
    pairs = PairGains(np.array([1]), np.array([2]), np.array([8.0]), np.array([voice_db]))
    alike = rose_alike(SHARES, even & SHARES, ROSE_DB, NONE, within_db=8.0)
    assert bool(rose_with_pair(alike, pairs)[0]) is (held and voice_db == 8.0)
