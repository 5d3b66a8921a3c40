"""A phone's buzz by the frames of 3GPP TS 45.002 (26 take 120 ms; from memory), and what is not."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, lfilter, sosfilt

from engine.detectors.clipped import Clipped
from engine.detectors.crackle import Crackle
from engine.detectors.phone_bursts import buzzes
from engine.model.messages import Samples, State
from tests.support.pack_pair import voice
from tests.support.signals import noise, scene
from tests.support.watching import told

FRAME_S = 120e-3 / 26.0
SECONDS = 0.2


def pulses(rate_hz: int, frame_s: float = FRAME_S, slots: int = 8, begin_s: float = 0.0) -> Samples:
    """On for one slot of each frame, behind a low-pass of 9 kHz and a low-cut of 40 Hz."""
    t = np.arange(round(SECONDS * rate_hz)) / rate_hz + begin_s
    x = sosfilt(
        butter(1, (40.0, 9000.0), "bandpass", fs=rate_hz, output="sos"),
        1.0 * (t % frame_s < frame_s / slots),
    )
    return np.asarray(x, np.float32)


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("begin_s", [0.0, 0.0011, 0.0037])
def test_pulses_of_a_slot_buzz(rate_hz: int, begin_s: float) -> None:
    """Of either sign, in hiss 20 dB below them, and under words as loud."""
    x = 0.1 * pulses(rate_hz, begin_s=begin_s)
    assert buzzes(x, rate_hz)
    assert buzzes(-x, rate_hz)
    hiss = np.random.default_rng(1).normal(0.0, 0.01, len(x)).astype(np.float32)
    assert buzzes(x + hiss, rate_hz)
    words = np.resize(voice(SECONDS)[:, 0], len(x))
    assert buzzes(x + 0.3 * words, rate_hz)


@pytest.mark.parametrize(
    ("frame_s", "slots"), [(0.004, 8), (0.0063, 8), (0.0050, 8), (FRAME_S, 2), (FRAME_S, 3)]
)
def test_other_pulses_do_not(frame_s: float, slots: int) -> None:
    """A contact that bounces, a dimmer, a square wave: at times of their own, or as wide."""
    assert not buzzes(0.1 * pulses(48_000, frame_s, slots), 48_000)


@pytest.mark.parametrize("pitch_hz", [215.0, 216.0, 216.67, 217.0, 218.0])
def test_a_voice_of_that_pitch_does_not(pitch_hz: float) -> None:
    """Strokes of the glottis through three resonances (of an open vowel, from memory)."""
    rate_hz = 48_000
    phase = np.arange(rate_hz) * pitch_hz / rate_hz
    x = lfilter([1.0], [1.0, -0.98], np.diff(np.floor(phase), prepend=0.0))
    for hz, wide_hz in ((650.0, 80.0), (1100.0, 100.0), (2500.0, 150.0)):
        q = np.exp(-np.pi * wide_hz / rate_hz)
        x = lfilter([1.0 - q], [1.0, -2.0 * q * np.cos(2.0 * np.pi * hz / rate_hz), q * q], x)
    assert not buzzes(x[-round(SECONDS * rate_hz) :].astype(np.float32), rate_hz)


def test_noise_does_not() -> None:
    """White, as steep as it gets."""
    rng = np.random.default_rng(4)
    assert not any(
        buzzes(rng.normal(0.0, 0.1, 9600).astype(np.float32), 48_000) for _ in range(300)
    )


def test_silence_does_not() -> None:
    """Nor a stretch that is too short."""
    assert not buzzes(np.zeros(9600, np.float32), 48_000)
    assert not buzzes(np.zeros(1, np.float32), 48_000)


@pytest.mark.parametrize("peak_dbfs", [-26.0, -10.0])
def test_they_are_told_as_a_phone_and_not_as_clipping(peak_dbfs: float) -> None:
    """For 4 s on a quiet pack, each pulse flat on top: within a second."""
    x = noise(-58.0, 9.0, 48_000, seed=3)
    call = np.tile(pulses(48_000)[: round(39 * FRAME_S * 48_000)], 22)
    x[4 * 48_000 :][: len(call), 0] += call * np.float32(10 ** (peak_dbfs / 20))
    where, detector = scene(1, 48_000), Crackle(scene(1, 48_000))
    said = told(detector, x, where)
    assert 0.1 * (said.states.index(State.ACTIVE) + 1) < 5.0
    assert "217 Hz" in detector.detail(0)
    assert State.ACTIVE not in told(Clipped(where), x, where).states
