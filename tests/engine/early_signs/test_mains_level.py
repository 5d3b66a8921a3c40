"""Mains lines against sines of known level in noise of known density (arithmetic)."""

from __future__ import annotations

import numpy as np
import pytest

from engine.early_signs.mains_level import MainsLevel, prominence_db

RATE = 2000
SECONDS = 10
T = np.arange(SECONDS * RATE) / RATE
ARITHMETIC_DB = 10 * np.log10(RATE / 6.0 / 3.0 * SECONDS)
"""A sine as strong as white noise's deviation, in ten Hann windows of N samples added in phase: the
power of the line over that of a bin beside it is 10 N / 6 (noise bandwidth 1.5 bins), and of three
lines one is there."""


def level(sound: np.ndarray) -> np.ndarray:
    """Of ten seconds, shape (tracks, frames)."""
    meter = MainsLevel(RATE, RATE)
    seconds = np.split(sound.astype(np.float32), SECONDS, axis=1)
    lines, beside = zip(*map(meter.measure, seconds), strict=True)
    return prominence_db(np.array(lines), np.array(beside))


def with_line(hz: float, rng: np.random.Generator, tracks: int = 100) -> np.ndarray:
    """Sines in white noise as strong as they."""
    noise = 1e-3 * rng.standard_normal((tracks, len(T)))
    return np.asarray(1e-3 * np.sin(2 * np.pi * hz * T) + noise)


@pytest.mark.parametrize("hz", [50.0, 60.0, 100.0, 180.0, 50.05, 149.85, 149.955])
def test_a_line_stands_out_by_what_arithmetic_says(hz: float) -> None:
    """By 1.5 dB and less off, also where the grid is 0.05 Hz off."""
    found = np.median(level(with_line(hz, np.random.default_rng(8))))
    assert found == pytest.approx(ARITHMETIC_DB, abs=1.5)


def test_what_is_said_meanwhile_hardly_counts() -> None:
    """In eight of ten seconds noise 40 dB over the rest: what the other two say is left, 7 dB less,
    and a little of chance."""
    sound = with_line(50.0, np.random.default_rng(8))
    loud = np.random.default_rng(9).standard_normal((100, 8 * RATE)) * 0.1
    sound[:, RATE : 9 * RATE] += loud
    assert np.median(level(sound)) == pytest.approx(ARITHMETIC_DB - 7.0, abs=1.5)


def test_a_voice_whose_pitch_lies_at_a_line_is_no_hum() -> None:
    """A tone of 100 Hz that begins anew each second, with a phase of its own, 40 dB over the noise:
    by ten random phases the power of their sum over what it leaves passes ten with a chance under
    1e-3 (F distribution), where a steady one reads 70 dB."""
    rng = np.random.default_rng(7)
    phases = rng.uniform(0.0, 2.0 * np.pi, (100, SECONDS)).repeat(RATE, axis=1)
    sound = 1e-3 * rng.standard_normal((100, len(T)))
    sound += 0.14 * np.sin(2 * np.pi * 100.0 * T + phases)
    found = level(sound)
    assert np.median(found) < 8.0
    assert np.quantile(found, 0.95) < 13.0


def test_silence_and_noise_have_none() -> None:
    """Digital silence reads 0 dB. In noise a line's power is exponential with mean 1; the mean of
    three passes 5.5 (7.4 dB) with a chance of 1e-5 a try (gamma distribution), of 26 tries that
    depend on each other; noise that is estimated from few bins adds up to two decibels."""
    rng = np.random.default_rng(9)
    sound = rng.standard_normal((200, len(T)))
    sound[0] = 0.0
    found = level(sound)
    assert found[0] == 0.0
    assert found.max() < 9.5
    assert 0.0 < np.median(found) < 5.0


def test_seconds_that_were_lost_do_not_count() -> None:
    """Where a second was not measured its place is marked by endless noise."""
    rng = np.random.default_rng(9)
    meter = MainsLevel(RATE, RATE)
    seconds = np.split(with_line(50.0, rng, 3).astype(np.float32), SECONDS, axis=1)
    lines, beside = (np.array(x) for x in zip(*map(meter.measure, seconds), strict=True))
    beside[:5] = np.inf
    assert np.median(prominence_db(lines, beside)) == pytest.approx(ARITHMETIC_DB - 3.0, abs=2.0)
    assert prominence_db(lines, np.full_like(beside, np.inf)).tolist() == [0.0] * 3
