"""Longer stretches that a link plays once more, behind a converter; plain repetition is common
practice, no source. What live sound never does is checked with sound that has noise of its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.detectors.dropout import Dropout
from engine.model.messages import Samples, State
from tests.support.signals import noise, scene, sine
from tests.support.watching import told

RATE = 48_000
TWO = scene(2, RATE)


def live(seconds: float = 12.0) -> Samples:
    """Two microphones in a place, each with a voice and a noise of its own.

    A voice's periods differ by a percent or so (from memory), so its treble never comes again.
    """
    tracks = []
    for seed in (3, 4):
        rng = np.random.default_rng(seed)
        frames = round(seconds * RATE)
        periods = 410.0 * (1.0 + 0.01 * rng.standard_normal(frames // 400))
        at = np.cumsum(periods).astype(np.int64)
        pulses = np.zeros(frames)
        pulses[at[at < frames]] = 1.0
        throat = butter(1, [500.0, 1500.0], "bandpass", fs=RATE, output="sos")
        tracks.append(sosfilt(throat, pulses) + noise(-60.0, seconds, RATE, seed=seed)[:, 0])
    return np.stack(tracks, axis=1).astype(np.float32)


def replayed(x: Samples, at_s: float, length_s: float, times: int = 2) -> None:
    """Fill it from then on with the stretch before."""
    first, frames = round(at_s * RATE), round(length_s * RATE)
    x[first : first + times * frames] = np.tile(x[first - frames : first], (times, 1))


@pytest.mark.parametrize("length_s", [0.12, 0.2, 0.4])
@pytest.mark.parametrize("noise_dbfs", [-100.0, -90.0])
@pytest.mark.parametrize("at_s", [6.0, 6.2571])
def test_a_stretch_that_is_played_again(length_s: float, noise_dbfs: float, at_s: float) -> None:
    """Within a second of its begin, on that track alone, and as one event."""
    x = live()
    replayed(x[:, :1], at_s, length_s)
    x += noise(noise_dbfs, 12.0, RATE, seed=6, tracks=2)
    detector = Dropout(TWO)
    said = told(detector, x, TWO)
    assert said.states.index(State.ACTIVE) <= 10.0 * (at_s + 1.0)
    assert said.spans_s[0][0] == pytest.approx(at_s, abs=0.06)
    assert detector.detail(0).startswith("1 gap in 10 s")
    assert State.ACTIVE not in told(Dropout(TWO), x, TWO, 1).states


def test_a_loop_from_a_loudspeaker_is_heard_by_all() -> None:
    """Music that repeats its bars reaches more than one microphone."""
    x = live()
    loop = np.tile(noise(-20.0, 0.5, RATE, seed=8), (8, 1))
    x[6 * RATE : 6 * RATE + len(loop)] += loop * np.array([1.0, 0.3], dtype=np.float32)
    assert State.ACTIVE not in told(Dropout(TWO), x, TWO).states


def test_beeps_and_live_sound_are_no_replay() -> None:
    """A tone in beeps has a line; noise and a voice never come again."""
    x = live()
    for at_s in np.arange(6.0, 10.0, 0.5):
        x[round(at_s * RATE) :][: RATE // 4, :1] += sine(-20.0, 0.25, RATE, 1250.0)
    for track in range(2):
        assert State.ACTIVE not in told(Dropout(TWO), x, TWO, track).states


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_screams_that_quaver_are_no_replay(seed: int) -> None:
    """Some 5 % to each side of 2 or 3 kHz, four to nine times a second, for a second each, so
    regularly that one swing is as the one before; the place does not come again."""
    rng = np.random.default_rng(seed)
    x = live(20.0)
    for at_s in np.arange(1.0, 19.0, 1.1):
        t = np.arange(RATE) / RATE
        hz = rng.uniform(1800.0, 3200.0) * (
            1.0 + 0.05 * np.sin(2.0 * np.pi * rng.uniform(4.0, 9.0) * t)
        )
        scream = 0.2 * np.sin(2.0 * np.pi * np.cumsum(hz) / RATE) * np.hanning(RATE) ** 0.3
        x[round(at_s * RATE) :, 0][: len(t)] += scream.astype(np.float32)[: len(x)]
    assert State.ACTIVE not in told(Dropout(TWO), x, TWO).states
