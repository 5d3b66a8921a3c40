"""Phases of two stretches: what was played again, and what agrees by its lines alone."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.phase_match import AGAIN, beyond_chance, cross_spectrum, phase_match

FRAMES = 2400
SECONDS = 0.05


@given(
    seed=st.integers(0, 2**16),
    gain=st.sampled_from([-2.0, -0.5, 0.1, 1.0]),
    lag=st.floats(-40.0, 40.0),
)
def test_a_copy_is_in_phase_at_its_lag(seed: int, gain: float, lag: float) -> None:
    """Whatever its gain, upside down too, with a hundredth of its power in other noise, and late by
    parts of a sample."""
    rng = np.random.default_rng(seed)
    turn = 2.0 * np.pi * np.arange(FRAMES + 1) / (2 * FRAMES)
    sound = rng.standard_normal(2 * FRAMES)
    late = np.fft.irfft(np.fft.rfft(sound) * np.exp(-1j * lag * turn), 2 * FRAMES)
    late = gain * (late + 0.1 * rng.standard_normal(2 * FRAMES))
    span = slice(FRAMES // 2, FRAMES // 2 + FRAMES)
    assert phase_match(sound[span], late[span], SECONDS, lag) >= AGAIN


@given(seed=st.integers(0, 2**16), lines=st.integers(0, 30))
def test_lines_alone_are_not(seed: int, lines: int) -> None:
    """One note in two stretches, 40 dB over the noise of each."""
    rng = np.random.default_rng(seed)
    turn = 2.0 * np.pi * 0.005 * np.arange(FRAMES)
    note = sum((np.sin(n * turn + n) for n in range(1, lines + 1)), np.zeros(FRAMES))
    first, second = (note + 0.01 * rng.standard_normal(FRAMES) for _ in range(2))
    assert phase_match(first, second, SECONDS) < AGAIN


@given(seed=st.integers(0, 2**16), lines=st.integers(1, 5))
def test_few_lines_are_not_beyond_chance(seed: int, lines: int) -> None:
    """However many stretches of them, however strong they are; noise that both hear soon is."""
    rng = np.random.default_rng(seed)
    at_hz = rng.choice(np.arange(60.0, 940.0, 40.0), lines, replace=False)
    turns = 2.0 * np.pi * np.outer(np.arange(2000) / 2000.0, at_hz)
    heard = np.sin(turns + rng.uniform(0.0, 7.0, lines)).sum(axis=1)
    noise = rng.standard_normal((3, 10, 200))
    lines_only, common = (
        sum(cross_spectrum(a + 1e-3 * noise[1, n], a + 1e-3 * noise[2, n]) for n, a in enumerate(x))
        for x in (heard.reshape(10, 200), noise[0])
    )
    assert beyond_chance(lines_only, 3) < 3.5 < beyond_chance(common, 3)
