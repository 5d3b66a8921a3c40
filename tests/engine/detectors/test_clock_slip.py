"""Clock slips: frames lost or doubled on all inputs. Counts as in CONTRACT.md.

Model and numbers: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from engine.detectors.clock_slip import SETTLE_S, Clock
from engine.model.messages import Flags, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.watching import measurements

RATE = 48_000
TRACKS = tuple(Track(n + 1, who=f"performer {n}") for n in range(10))
SCENE = Scene(TRACKS, RATE)


def place(seconds: float = 20.0, seed: int = 1, slope: float = 1.0, rate: int = RATE) -> Samples:
    """Ten tracks of noise that falls with frequency, each its own, with words on two of them."""
    frames = round(seconds * rate)
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal((frames, 10)), axis=0)
    hz = np.fft.rfftfreq(frames, 1.0 / rate)[:, None]
    shape = (hz < 20_000.0) / np.maximum(hz, 100.0) ** slope
    x = np.fft.irfft(spectrum * shape, n=frames, axis=0)
    x *= 10 ** (-55 / 20) / x.std(axis=0)
    words = np.clip(np.sin(2 * np.pi * 1.9 * np.arange(frames) / rate), 0.0, None)
    x[:, :2] *= (1.0 + 20.0 * words)[:, None]
    x += 10 ** (-80 / 20) * rng.standard_normal(x.shape)
    return x.astype(np.float32)


def slipped(x: Samples, at_s: list[float], frames: int, rate: int = RATE) -> Samples:
    """Frames lost (or, below zero, played twice) at those times, on every track."""
    rows = np.arange(len(x))
    for each_s in at_s:
        rows[round(each_s * rate) :] += frames
    return x[np.clip(rows, 0, len(x) - 1)]


def spans(
    x: Samples, missing: Flags | None = None, scene: Scene = SCENE
) -> list[tuple[float, float]]:
    """(now, onset) of each tick in which it is told."""
    detector, said = Clock(scene), []
    for m, feed in measurements(x, scene, missing):
        condition = detector.update(m, feed)
        if condition.state[0] == State.ACTIVE:
            said.append((m.end_s, float(condition.onset_s[0])))
    return said


def each_second(count: int, first_s: float = 5.13, every_s: float = 1.0) -> list[float]:
    """Times of so many slips, s."""
    return [first_s + n * every_s for n in range(count)]


@pytest.mark.parametrize("frames", [16, 64, -64, 256, -128])
def test_slips_are_told_at_the_third(frames: int) -> None:
    """Once a second on all inputs: from the first, and within a second or so of the third."""
    at_s = each_second(14)
    said = spans(slipped(place(), at_s, frames))
    assert said
    assert at_s[0] - 0.01 <= said[0][1] <= at_s[0] + 0.01
    assert said[0][0] <= at_s[2] + 1.2


@pytest.mark.parametrize("frames", [1, 2, -1])
def test_single_frames_are_heard_where_a_sound_ends_below_half_the_rate(frames: int) -> None:
    """At 96 kHz nothing sounds over 20 kHz but the converter, which no slip leaves so quiet."""
    scene = Scene(TRACKS, 96_000)
    x = place(14.0, rate=96_000)
    x = signal.sosfilt(signal.butter(8, 24_000.0, fs=96_000, output="sos"), x, axis=0)
    x += 1e-6 * np.random.default_rng(4).standard_normal(x.shape)
    at_s = each_second(8)
    said = spans(slipped(x.astype(np.float32), at_s, frames, 96_000), scene=scene)
    assert said
    assert said[0][0] <= at_s[2] + 0.2


def test_slips_are_heard_after_a_resampling() -> None:
    """To 44.1 kHz, by a polyphase filter of SciPy: what was one sample is smeared over many."""
    at_s = each_second(12)
    x = slipped(place(), at_s, 64)
    x = signal.resample_poly(x, 147, 160, axis=0).astype(np.float32)
    said = spans(x, scene=Scene(TRACKS, 44_100))
    assert said
    assert said[0][0] <= at_s[2] + 1.2


def test_crystals_that_differ_are_told() -> None:
    """1000 ppm run a buffer of 64 frames over each 1.33 s (arithmetic): told at the third slip."""
    every_s = 64 / (1000e-6 * RATE)
    at_s = each_second(11, every_s=every_s)
    said = spans(slipped(place(), at_s, 64))
    assert said
    assert said[0][0] <= at_s[2] + 1.5


def test_slips_that_go_on_are_said_in_every_tick() -> None:
    """From the third to 5 s after the last, so that red comes when they go on for 10 s."""
    at_s = each_second(8)
    said = spans(slipped(place(), at_s, 256))
    ticks = [now_s for now_s, _ in said]
    assert np.diff(ticks).max() < 0.11
    assert at_s[-1] + 4.5 <= ticks[-1] <= at_s[-1] + 5.2


def test_slow_slips_go_on() -> None:
    """Every four seconds is three in ten seconds: said without a break."""
    at_s = each_second(6, every_s=4.0)
    said = spans(slipped(place(30.0), at_s, 256))
    ticks = [now_s for now_s, _ in said]
    assert ticks[0] <= at_s[2] + 0.2
    assert np.diff(ticks).max() < 0.11


def test_an_input_that_was_opened_settles_first() -> None:
    """What tears its first three seconds, and those after audio was lost, is no clock."""
    x = place(16.0)
    at_s = [0.5, 1.1, 1.7, 2.3, 2.8, 9.2, 9.8, 10.4, 11.0]
    missing = np.zeros(len(x), dtype=np.bool_)
    missing[round(8.75 * RATE) : round(8.8 * RATE)] = True
    torn = slipped(x, at_s, 256)
    torn[missing] = 0.0
    assert at_s[-1] < 8.8 + SETTLE_S
    assert not spans(torn, missing)


def test_claps_spikes_and_mutes_are_no_slips() -> None:
    """A clap reaches each mic later, a spike comes back, a mute is no sound on one side."""
    x = place()
    rng = np.random.default_rng(3)
    for n in range(10):
        at = round((5.0 + n) * RATE)
        for track in range(10):
            clap = rng.standard_normal(2000) * np.exp(-np.arange(2000) / 200.0)
            x[at + 140 * track : at + 140 * track + 2000, track] += 0.2 * clap
        x[at + RATE // 4, :] += 0.1
        x[at + RATE // 2 : at + RATE // 2 + 3000] = 0.0
    assert not spans(x)


@pytest.mark.parametrize("level", [0.003, 0.01, 0.1])
def test_electrical_pulses_on_all_inputs_are_no_slips(level: float) -> None:
    """A switch nearby: a step that the coupling capacitors let go within 20 ms, as large as each
    cable is long, at one sample on all of them."""
    x = place()
    rng = np.random.default_rng(6)
    pulse = np.exp(-np.arange(4000) / 800.0)[:, None]
    for n in range(14):
        at = round((4.0 + n + 0.01 * rng.random()) * RATE)
        x[at : at + 4000] += level * pulse * rng.uniform(0.3, 1.0, 10)
    assert not spans(x)


def test_tones_that_start_on_all_inputs_are_no_slips() -> None:
    """Line-up tone of one generator, on and off each half second."""
    x = place()
    t = np.arange(len(x)) / RATE
    x += (0.1 * np.sin(2 * np.pi * 1000.0 * t) * (t % 1.0 < 0.5))[:, None].astype(np.float32)
    assert not spans(x)


@pytest.mark.parametrize("torn", [[3], [0, 1, 2, 3]])
def test_some_inputs_alone_are_no_clock(torn: list[int]) -> None:
    """One converter that slips by itself, or a receiver of four, is not the clock of all."""
    x = place()
    x[:, torn] = slipped(x, each_second(12), 64)[:, torn]
    assert not spans(x)


@settings(max_examples=8, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    slope=st.floats(0.0, 2.0),
    rate=st.sampled_from([44_100, 48_000, 96_000]),
)
def test_live_sound_has_none(seed: int, slope: float, rate: int) -> None:
    """A place with words says nothing, however its noise falls and at any rate."""
    assert not spans(place(10.0, seed, slope, rate), scene=Scene(TRACKS, rate))
