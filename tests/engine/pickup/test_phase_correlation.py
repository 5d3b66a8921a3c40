"""Delays against sound that was delayed by a known time, and chance against its own formula."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from engine.pickup.phase_correlation import PhaseCorrelation
from tests.support.strategies import seeds, untimed

RATE = 2000.0
FRAMES = 2000


def delayed(x: np.ndarray, seconds: float) -> np.ndarray:
    """The same later, by a turn of its phases (exact for a periodic sound)."""
    spectrum = np.fft.rfft(x)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(len(x), 1 / RATE) * seconds)
    return np.fft.irfft(spectrum * turn, len(x))


@given(seeds, st.floats(-0.015, 0.07))
@untimed
def test_a_delay_is_found_to_a_tenth_of_a_millisecond(seed: int, seconds: float) -> None:
    """Coloured noise, later or earlier, with as much noise of its own."""
    rng = np.random.default_rng(seed)
    voice = signal.lfilter([1.0], [1.0, -0.9], rng.standard_normal(FRAMES))
    other = delayed(voice, seconds) + 0.5 * rng.standard_normal(FRAMES)
    correlation = PhaseCorrelation(RATE, FRAMES)
    sound = np.stack([voice, other]).astype(np.float32)
    peaks = correlation.peaks(correlation.spectra(sound), 0)
    assert peaks.delay_s[1] == pytest.approx(seconds, abs=1e-4)
    assert peaks.height[1] > correlation.least_peak(1e-4)


def test_scipy_finds_the_same_delay() -> None:
    """Against scipy's plain cross-correlation of white noise, to a sample."""
    rng = np.random.default_rng(4)
    voice = rng.standard_normal(FRAMES)
    other = np.roll(voice, 37) + 0.3 * rng.standard_normal(FRAMES)
    lags = signal.correlation_lags(FRAMES, FRAMES)
    theirs = lags[np.argmax(signal.correlate(other, voice))] / RATE
    correlation = PhaseCorrelation(RATE, FRAMES)
    sound = np.stack([voice, other]).astype(np.float32)
    ours = correlation.peaks(correlation.spectra(sound), 0).delay_s[1]
    assert ours == pytest.approx(theirs, abs=0.5 / RATE)


def test_unrelated_sounds_pass_as_seldom_as_asked() -> None:
    """Of 4,000 windows of unrelated noise about 40 pass a height with a chance of 1 %."""
    rng = np.random.default_rng(6)
    correlation = PhaseCorrelation(RATE, FRAMES)
    least = correlation.least_peak(0.01)
    passed = 0
    for _ in range(100):
        sound = rng.standard_normal((41, FRAMES)).astype(np.float32)
        peaks = correlation.peaks(correlation.spectra(sound), 0)
        passed += np.count_nonzero(peaks.height[1:] > least)
    assert 5 <= passed <= 80


def test_silence_has_no_peak() -> None:
    """Digital silence beside a voice: height 0."""
    sound = np.zeros((2, FRAMES), dtype=np.float32)
    sound[0] = np.random.default_rng(1).standard_normal(FRAMES)
    correlation = PhaseCorrelation(RATE, FRAMES)
    assert correlation.peaks(correlation.spectra(sound), 0).height[1] == 0.0
