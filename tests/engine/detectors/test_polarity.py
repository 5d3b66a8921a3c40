"""Polarity: one pack inverted against the other. Pearson's r of an inverted copy is -1 whatever
the gain (textbook statistics); the seconds of speech are by CONTRACT.md."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, correlate, correlation_lags, sosfilt

from engine.detectors.polarity import Polarity
from engine.model.messages import Samples, State
from tests.support.pack_pair import PAIR, RATE, packs
from tests.support.signals import noise
from tests.support.watching import told

LAGS = [0, 12, 45, -45, 120, -240]
"""Samples at 48 kHz: a body's millisecond, and radio systems that are 2.5 and 5 ms apart."""


@pytest.mark.parametrize("lag_frames", LAGS)
def test_inverted_is_told_after_five_seconds_of_speech(lag_frames: int) -> None:
    """Inverted from 20 s on, milliseconds apart or not, is told within some 10 s, never red."""
    x = packs(35.0, lag_frames)
    x[20 * RATE :, 1] *= -1.0
    said = told(Polarity(PAIR), x, PAIR, place=1)
    first_s = said.states.index(State.ACTIVE) / 10
    assert 22.0 < first_s < 29.0
    assert said.spans_s[0][0] == pytest.approx(20.0, abs=1.0)
    assert not said.may_be_red
    assert said.conditions[-1].partners is not None
    assert said.conditions[-1].partners[1] == 0


def test_a_strong_correlation_is_told_sooner() -> None:
    """Where it leaves no doubt, three of the five seconds of speech are enough."""
    x = packs(30.0)
    x[20 * RATE :, 1] *= -1.0
    said = told(Polarity(PAIR), x, PAIR, place=1)
    assert said.states.index(State.ACTIVE) / 10 < 20.0 + 3.25 / (0.4 / 0.6)


def test_a_crowd_over_the_voice_does_not_hide_it() -> None:
    """Two packs that hear a crowd each their own way agree less, but in nearly every part."""
    x = packs(40.0)
    for place in range(2):
        level_dbfs = -20.0 - 12.0 * place
        x[18 * RATE :, place] += noise(level_dbfs, 22.0, RATE, seed=11 + place)[:, 0]
    x[20 * RATE :, 1] *= -1.0
    said = told(Polarity(PAIR), x, PAIR, place=1)
    assert said.spans_s[0][0] == pytest.approx(20.0, abs=1.0)
    assert said.states.index(State.ACTIVE) / 10 < 34.0


def strongest_by_scipy(main: Samples, safety: Samples) -> float:
    """The normalised cross-correlation of largest size within 1.5 ms, of the sound under 350 Hz."""
    sos = butter(2, (90.0, 350.0), "bandpass", fs=RATE, output="sos")
    one, other = (sosfilt(sos, x.astype(np.float64)) for x in (main, safety))
    r = correlate(one, other, method="fft") / np.sqrt((one @ one) * (other @ other))
    near = np.abs(correlation_lags(len(one), len(other))) <= 0.0015 * RATE
    return float(r[near][np.abs(r[near]).argmax()])


@pytest.mark.parametrize("inverted", [False, True])
@pytest.mark.parametrize("lag_frames", [0, 20, -45])
@pytest.mark.parametrize("gain_db", [-20.0, 0.0, 6.0])
def test_what_is_said_is_the_sign_that_scipy_finds(
    inverted: bool, lag_frames: int, gain_db: float
) -> None:
    """Inverted is said where scipy's strongest correlation is negative, and nowhere else."""
    x = packs(25.0, lag_frames)
    x[:, 1] *= np.float32(10 ** (gain_db / 20) * (-1.0 if inverted else 1.0))
    r = strongest_by_scipy(x[:, 0], x[:, 1])
    assert abs(r) > 0.7
    said = told(Polarity(PAIR), x, PAIR, place=1)
    assert (State.ACTIVE in said.states) == (r < 0.0)


@pytest.mark.parametrize("lag_frames", LAGS)
def test_upright_is_not(lag_frames: int) -> None:
    """Two packs are in order however far apart they are."""
    said = told(Polarity(PAIR), packs(25.0, lag_frames), PAIR, place=1)
    assert State.ACTIVE not in said.states


@pytest.mark.parametrize("cut_hz", [80.0, 120.0])
@pytest.mark.parametrize("place", [0, 1])
def test_a_low_cut_that_is_switched_in_turns_no_wire(cut_hz: float, place: int) -> None:
    """A recorder's or a pack's, of 18 dB an octave: its phase runs from -270 degrees to none."""
    x = packs(40.0, 30)
    sos = butter(3, cut_hz, "highpass", fs=RATE, output="sos")
    x[20 * RATE :, place] = sosfilt(sos, x[:, place])[20 * RATE :]
    assert State.ACTIVE not in told(Polarity(PAIR), x, PAIR, place=1).states


@pytest.mark.parametrize("note_hz", [587.3, 698.5, 784.0, 880.0])
@pytest.mark.parametrize("lag_frames", [10, 30, 48])
def test_a_note_that_is_sung_high_has_no_sign(note_hz: float, lag_frames: int) -> None:
    """With vibrato of 5.5 Hz and a quarter tone, nearly a sine (equal temperament, A = 440 Hz)."""
    at_s = np.arange(24 * RATE) / RATE
    phase = 2.0 * np.pi * note_hz * (at_s + 0.014 / 11.0 / np.pi * np.sin(11.0 * np.pi * at_s))
    note = (np.sin(phase) + 0.1 * np.sin(2.0 * phase)) * (at_s % 2.0 < 1.6) * (at_s > 8.0)
    x = np.stack([0.2 * note, 0.05 * np.roll(note, lag_frames)], axis=1).astype(np.float32)
    x += np.hstack([noise(-62.0 - 12.0 * n, 24.0, RATE, seed=n) for n in range(2)])
    assert State.ACTIVE not in told(Polarity(PAIR), x, PAIR, place=1).states


def test_what_does_not_match_says_nothing() -> None:
    """Two packs that hear different things are not called inverted."""
    x = np.hstack([packs(25.0)[:, :1], noise(-25.0, 25.0, RATE, seed=8)])
    assert State.ACTIVE not in told(Polarity(PAIR), x, PAIR, place=1).states


@pytest.mark.parametrize("lag_frames", [30, 60, -55])
def test_a_pure_note_has_no_sign(lag_frames: int) -> None:
    """A flute's 330 Hz: half a period later it is inverted, and both lie within 1.5 ms."""
    x = packs(18.0)
    at = np.arange(18 * RATE) / RATE
    swell = np.clip(np.sin(2.0 * np.pi * at / 3.0), 0.0, None)
    note = 0.2 * swell * np.sin(2.0 * np.pi * 330.0 * at)
    notes = np.stack([note, 0.25 * np.roll(note, lag_frames)], axis=1)
    x = np.concatenate([x, notes.astype(np.float32) + noise(-60.0, 18.0, RATE, tracks=2)])
    assert State.ACTIVE not in told(Polarity(PAIR), x, PAIR, place=1).states


def test_onset_holds_where_another_sound_covers_a_word() -> None:
    """A rumble on one pack for 1.2 s hides the sign of two words, not where it all began."""
    x = packs(35.0)
    x[20 * RATE :, 1] *= -1.0
    x[round(20.9 * RATE) : round(22.1 * RATE), 0] += noise(-10.0, 1.2, RATE, seed=9)[:57_600, 0]
    said = told(Polarity(PAIR), x, PAIR, place=1)
    assert said.spans_s[0][0] == pytest.approx(20.0, abs=0.5)


def test_a_stuck_buffer_is_not_inverted() -> None:
    """Buffers of 85 ms that are played again on both packs, one against the other, are no voice."""
    x = packs(40.0)
    first, frames = 20 * RATE, round(0.085 * RATE)
    piece = x[first - frames : first, :1] * np.float32([1.0, -0.25])
    x[first - frames : first + 12 * RATE] = np.resize(piece, (12 * RATE + frames, 2))
    assert not told(Polarity(PAIR), x, PAIR, 1).spans_s


def test_its_detail_is_of_the_speech_that_proved_it() -> None:
    """Where a crowd covers both packs later on, what was seen is no correlation of nought."""
    x = packs(40.0)
    x[20 * RATE :, 1] *= -1.0
    for place in range(2):
        x[30 * RATE :, place] += noise(-10.0, 10.0, RATE, seed=21 + place)[:, 0]
    detector = Polarity(PAIR)
    assert told(detector, x, PAIR, place=1).states[-1] is State.ACTIVE
    r = float(detector.detail(1).split()[-1].replace("\u2212", "-"))
    assert r < -0.1
