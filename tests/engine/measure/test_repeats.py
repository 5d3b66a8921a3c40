"""Repeats: a buffer played again, bit for bit, and nothing else that may look like it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.measure.level import measure_hops
from engine.measure.repeats import RepeatFinder
from engine.model.messages import Repeat, Samples
from tests.support.signals import noise, sine

RATE_HZ = 48_000
TICK = RATE_HZ // 10


def found(samples: Samples, together: int = 1) -> list[Repeat]:
    """All that is said of every tick, so many taken in at once."""
    finder = RepeatFinder(np.ones(samples.shape[1], bool), RATE_HZ, RATE_HZ // 100)
    said: list[Repeat] = []
    for start in range(0, len(samples) - TICK + 1, together * TICK):
        ticks = min(together, (len(samples) - start) // TICK)
        hops = measure_hops(samples[start : start + ticks * TICK], RATE_HZ // 100, None, ticks)
        starts_s = [(start + tick * TICK) / RATE_HZ for tick in range(ticks)]
        said += [repeat for repeats in finder.update(hops, starts_s) for repeat in repeats]
    return said


def stuck(x: Samples, at: int, period: int, frames: int) -> Samples:
    """The same with the last `period` samples before `at` played again and again."""
    y = x.copy()
    again = np.resize(x[at - period : at], (frames, x.shape[1]))
    y[at : at + frames] = again
    return y


def place(bits: int, seed: int = 1, seconds: float = 5.0) -> Samples:
    """Room noise that falls with frequency, quantised."""
    white = noise(-50.0, seconds, RATE_HZ, seed=seed)
    low = np.cumsum(white - white.mean(), axis=0, dtype=np.float64)
    low -= np.convolve(low[:, 0], np.full(4801, 1 / 4801), "same")[:, None]
    x = 0.003 * low / low.std() + 0.1 * white
    return (np.round(x * 2 ** (bits - 1)) / 2 ** (bits - 1)).astype(np.float32)


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("period_s", [0.005, 0.010, 64 / 3000, 0.085, 1.0])
def test_a_stuck_buffer_is_found_in_two_ticks(bits: int, period_s: float) -> None:
    """Whatever its length, it is found at once, with its begin and its period."""
    at, period = round(2.345 * RATE_HZ), round(period_s * RATE_HZ)
    said = found(stuck(place(bits), at, period, 2 * RATE_HZ))
    assert said
    first = said[0]
    assert first.end_s - 2.345 <= 0.32
    assert first.begin_s == pytest.approx(2.345, abs=0.002)
    assert first.period_s / period_s == pytest.approx(round(first.period_s / period_s), abs=1e-9)
    (last,) = [repeat for repeat in said if repeat.ended]
    assert last.end_s == pytest.approx(4.345, abs=0.002)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 2**16), st.floats(0.06, 0.15))
def test_a_concealment_of_five_milliseconds_is_found(seed: int, length_s: float) -> None:
    """Five milliseconds repeated for 60 to 150 ms are found, wherever they lie in the tick."""
    at = RATE_HZ + seed
    said = found(stuck(place(24, seed), at, 240, round(length_s * RATE_HZ)))
    assert [repeat.ended for repeat in said][-1:] == [True]
    assert said[-1].end_s - said[-1].begin_s == pytest.approx(length_s, abs=0.002)


@pytest.mark.parametrize("bits", [16, 24])
def test_live_sound_never_repeats(bits: int) -> None:
    """A quiet place says nothing, in 16 bits either."""
    assert found(place(bits, seconds=20.0)) == []


@pytest.mark.parametrize("hz", [50.0, 440.0, 1000.0, 3150.0])
def test_a_digital_tone_is_no_repeat(hz: float) -> None:
    """A sine from a generator repeats bit for bit and is none."""
    assert found(np.round(sine(-20.0, 3.0, RATE_HZ, hz) * 2**23) / np.float32(2**23)) == []


def test_silence_square_waves_and_frozen_values_are_no_repeat() -> None:
    """What has no noise in it says nothing."""
    zero = np.zeros((2 * RATE_HZ, 1), np.float32)
    square = (np.sign(sine(0.0, 2.0, RATE_HZ, 250.0)) * 0.25).astype(np.float32)
    assert found(np.hstack([zero, zero + 0.3, square])) == []


def test_repeats_are_the_same_however_many_ticks_come_together() -> None:
    """Places, stuck buffers and tones side by side, bit for bit."""
    tone = np.round(sine(-20.0, 5.0, RATE_HZ, 440.0) * 2**15) / np.float32(2**15)
    tone[: 2 * RATE_HZ] = place(16, 4)[: 2 * RATE_HZ]
    tracks = [
        stuck(place(bits, seed), 90_000 + seed, 1111 * seed, 50_000)
        for bits, seed in ((16, 1), (24, 2), (16, 3))
    ]
    samples = np.hstack([place(16, 9), *tracks, tone, tone + place(24, 5)])
    one_by_one = found(samples)
    assert {repeat.track_index for repeat in one_by_one if repeat.ended} == {1, 2, 3}
    for together in (2, 7, 10):
        assert found(samples, together) == one_by_one
