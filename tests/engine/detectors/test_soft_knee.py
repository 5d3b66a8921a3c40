"""Soft knee: a stage that saturates. The hyperbolic tangent is the long-tailed pair of transistors
(P. Gray and R. Meyer, "Analysis and Design of Analog Integrated Circuits"; from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import butter, sosfilt

from engine.detectors.clipped import Clipped
from engine.model.messages import Samples
from tests.support.pack_pair import PAIR, RATE, packs
from tests.support.signals import noise
from tests.support.watching import Told, told

SECONDS = 30.0
AT_S = 20.0
AFTER = slice(round(AT_S * RATE), None)


def said_of(x: Samples) -> Told:
    """What is said of the main."""
    return told(Clipped(PAIR), x, PAIR, 0)


@pytest.mark.parametrize("over_db", [7.0, 9.0])
def test_a_stage_that_saturates_is_told_in_two_seconds(over_db: float) -> None:
    """From its begin on, with the crest that is missing; its safety is not told."""
    x = packs(SECONDS)
    top = float(np.abs(x[:, 0]).max())
    x[AFTER, 0] = top * np.tanh(x[AFTER, 0] * 10 ** (over_db / 20) / top)
    detector = Clipped(PAIR)
    said = told(detector, x, PAIR, 0)
    first = next(n for n, state in enumerate(said.states) if state > 0)
    assert 0.1 * (first + 1) <= AT_S + 2.0
    assert said.spans_s[0][0] == pytest.approx(AT_S, abs=0.5)
    assert not said.may_be_red
    assert "dB lower than the safety's" in detector.detail(0)
    assert not told(Clipped(PAIR), x, PAIR, 1).spans_s


def test_a_stage_driven_to_its_knee_alone_is_not_told() -> None:
    """Peaks that just reach the knee lose next to nothing."""
    x = packs(SECONDS)
    top = 2.0 * float(np.abs(x[:, 0]).max())
    x[AFTER, 0] = top * np.tanh(x[AFTER, 0] / top)
    assert not said_of(x).spans_s


def test_a_limiter_turns_the_gain_and_leaves_the_crest() -> None:
    """12 dB of limiting, 5 ms ahead of each peak, recovering in about 100 ms."""
    x = packs(SECONDS)
    loudest = maximum_filter1d(np.abs(x[:, 0]), RATE // 10)
    ceiling = float(loudest.max()) * 10 ** (-12.0 / 20)
    gain = np.minimum(1.0, ceiling / np.maximum(loudest, 1e-6))
    x[AFTER, 0] *= uniform_filter1d(gain, RATE // 20)[AFTER].astype(np.float32)
    assert not said_of(x).spans_s


def test_wind_on_the_main_is_not_the_voice() -> None:
    """Rumble under 60 Hz, louder than the voice, on the main alone: its crest is another's."""
    x = packs(SECONDS)
    sos = butter(2, 60.0, fs=RATE, output="sos")
    x[AFTER] += sosfilt(sos, noise(4.0, 10.0, RATE, seed=9), axis=0) * np.array([1.0, 0.0], "f4")
    assert not said_of(x).spans_s


def test_cloth_that_rubbed_on_the_main_is_no_lack_later() -> None:
    """Tiny shocks over the voice for 8 s give the main more crest than its safety has."""
    x = packs(SECONDS)
    shocks = np.random.default_rng(3).random(8 * RATE) < 200.0 / RATE
    x[8 * RATE : 16 * RATE, 0] += (0.15 * shocks).astype("f4")
    assert not said_of(x).spans_s


def test_a_horn_that_drives_a_limiter_is_no_overload() -> None:
    """Two notes of 410 and 512 Hz, once the voice is known. The body between the packs turns the
    phases of the overtones, so that the safety's peaks are higher; the main's limiter, which looks
    ahead, has turned the gain down before they come, and recovers slowly."""
    x = packs(SECONDS)
    t = np.arange(len(x)) / RATE
    overtones = [(hz, n) for hz in (410.0, 512.0) for n in (1, 3, 5, 7, 9)]
    main, safety = (
        sum(np.sin(2.0 * np.pi * hz * n * t + turn * n * n) / n for hz, n in overtones)
        for turn in (0.0, 1.3)
    )
    for begin_s in (21.0, 24.0, 27.0):
        sounds = (t >= begin_s) & (t < begin_s + 0.8)
        turned_down = 1.0 - 0.44 * np.exp(-np.maximum(t - begin_s - 0.8, 0.0) / 0.25)
        x[:, 0] *= np.where(t >= begin_s, turned_down, 1.0).astype("f4")
        x += (sounds * np.array([0.34 * main, 0.2 * safety])).T.astype("f4")
    assert not said_of(x).spans_s
