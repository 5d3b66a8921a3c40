"""Filters for slips, held against covariances that are known by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import linalg, signal

from engine.detectors.slip_filters import FINE, SIDE, TAPS, SlipFilters


def learned(x: np.ndarray) -> SlipFilters:
    """Filters after so many ticks of 4800 frames; `x` has shape (tracks, frames)."""
    filters = SlipFilters(len(x))
    live = np.ones(len(x), dtype=np.bool_)
    for start in range(0, x.shape[1] - 4799, 4800):
        filters.learn(x[:, start : start + 4800].astype(np.float32), np.arange(len(x)), live)
    return filters


def first_order(pole: float, seed: int = 1, seconds: float = 20.0) -> np.ndarray:
    """Noise through one pole, whose correlation at lag n is pole^n; shape (1, frames)."""
    noise = np.random.default_rng(seed).standard_normal((1, round(seconds * 48_000)))
    return np.asarray(signal.lfilter([1.0], [1.0, -pole], noise, axis=1))


def test_white_noise_shows_no_slip() -> None:
    """Its samples know nothing of each other: the ratio is about 1."""
    assert learned(first_order(0.0)).visible[0] == pytest.approx(1.0, abs=0.25)


@settings(max_examples=6, deadline=None)
@given(pole=st.floats(0.9, 0.98))
def test_the_ratio_is_that_of_the_known_covariances(pole: float) -> None:
    """Of noise through one pole SciPy's generalised eigenvalue says the same, for sides that know
    nothing of each other where one frame can't be heard."""
    healthy = linalg.toeplitz(pole ** np.arange(TAPS))
    index = np.concatenate([np.arange(SIDE), np.arange(SIDE + 1, TAPS + 1)])
    one = pole ** np.abs(np.subtract.outer(index, index)).astype(float)
    ratio = linalg.eigh(one, healthy, eigvals_only=True)[-1]
    if ratio < FINE:
        apart = linalg.block_diag(healthy[:SIDE, :SIDE], healthy[:SIDE, :SIDE])
        ratio = linalg.eigh(apart, healthy, eigvals_only=True)[-1]
    assert learned(first_order(pole)).visible[0] == pytest.approx(ratio, rel=0.2)


def test_the_filter_makes_of_a_slip_what_the_ratio_says() -> None:
    """Power of what comes out at 4000 slips of many frames over that of healthy sound."""
    pole = 0.95
    filters = learned(first_order(pole))
    x = first_order(pole, seed=2, seconds=30.0)[0]
    healthy = np.correlate(x, filters.taps[0], "valid")
    starts = np.arange(1000, 1_200_000, 300)
    torn = [np.r_[x[at : at + SIDE], x[at + 150 : at + 150 + SIDE]] for at in starts]
    power = np.mean(np.square(np.array(torn) @ filters.taps[0]))
    assert power / np.mean(np.square(healthy)) == pytest.approx(filters.visible[0], rel=0.25)


def test_nothing_is_learned_of_what_is_not_live() -> None:
    """A track of digital silence has no filter."""
    filters = SlipFilters(2)
    x = np.concatenate([first_order(0.9, seconds=2.0), np.zeros((1, 96_000))])
    for start in range(0, 96_000, 4800):
        part = x[:, start : start + 4800].astype(np.float32)
        filters.learn(part, np.arange(2), np.array([True, False]))
    assert filters.visible[0] > 1.0
    assert filters.visible[1] == 0.0
