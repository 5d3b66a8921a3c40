"""Duplicate: the same signal on two inputs. Sound takes 2.9 ms a metre at 343 m/s (textbook), so
two microphones do not match at lag zero; delays are those of CONTRACT.md."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, correlate, correlation_lags, sosfilt

from engine.detectors.duplicate import Duplicate
from engine.model.messages import Samples, State
from tests.support.harmless_sound import at_level, delayed, room, swaying, takes
from tests.support.pack_pair import PAIR, RATE, TWO, heard, packs, voice
from tests.support.signals import noise, scene, sine
from tests.support.watching import told


@pytest.mark.parametrize(
    ("gain_db", "noise_dbfs"), [(0.0, None), (-6.0, -60.0), (4.0, -80.0), (0.0, -44.0)]
)
def test_a_copy_is_told_on_the_higher_input(gain_db: float, noise_dbfs: float | None) -> None:
    """A copy at another gain and with some noise is told, with its onset and its partner."""
    x = np.hstack([heard(voice(20.0), 0.0), heard(voice(20.0, seed=2), 0.0, seed=7)])
    copy = x[12 * RATE :, 0] * np.float32(10 ** (gain_db / 20))
    if noise_dbfs is not None:
        copy = copy + noise(noise_dbfs, 8.0, RATE, seed=9)[:, 0]
    x[12 * RATE :, 1] = copy
    detector = Duplicate(TWO)
    said = told(detector, x, TWO, place=1)
    assert f"input {TWO.tracks[0].input}" in detector.detail(1)
    (onset_s, last_s), *more = said.spans_s
    assert not more
    assert onset_s == pytest.approx(12.0, abs=0.5)
    assert last_s == pytest.approx(20.0, abs=0.5)
    assert said.may_be_red
    assert said.conditions[-1].partners is not None
    assert said.conditions[-1].partners.tolist() == [-1, 0]
    assert State.ACTIVE not in told(Duplicate(TWO), x, TWO, place=0).states


@pytest.mark.parametrize("who", [0, 1])
def test_a_patch_put_right_ends_it_once_either_speaks(who: int) -> None:
    """Nobody has to wait until both performers speak at once: one voice on one input shows it."""
    quiet = noise(-58.0, 30.0, RATE, tracks=2, seed=5)
    x = quiet.copy()
    x[: 15 * RATE, 0] += heard(voice(15.0), 0.0)[:, 0]
    x[: 15 * RATE, 1] = x[: 15 * RATE, 0]
    x[18 * RATE :, who] += heard(voice(12.0, seed=2), 0.0, seed=7)[:, 0]
    said = told(Duplicate(TWO), x, TWO, place=1)
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(0.0, abs=0.5)
    assert last_s < 20.0
    assert said.states[-1] is State.CLEAR


@pytest.mark.parametrize("lag_frames", [3, 14, 140])
def test_two_microphones_on_one_voice_are_not(lag_frames: int) -> None:
    """Microphones 2 cm to 1 m further from one voice are no duplicate."""
    sound = voice(20.0)
    x = np.hstack([heard(sound, 0.0), heard(sound, -3.0, lag_frames, seed=6)])
    assert State.ACTIVE not in told(Duplicate(TWO), x, TWO, place=1).states


def test_two_packs_side_by_side_are_not() -> None:
    """The packs of one performer match better than strangers may; a true copy is told still."""
    x = packs(20.0, lag_frames=1)
    assert State.ACTIVE not in told(Duplicate(PAIR), x, PAIR, place=1).states
    x[:, 1] = 0.25 * x[:, 0]
    assert State.ACTIVE in told(Duplicate(PAIR), x, PAIR, place=1).states


def matches_by_scipy(one: Samples, other: Samples) -> tuple[int, float]:
    """Lag of the strongest correlation, and what is left at lag zero after the best gain, dB."""
    a, b = one.astype(np.float64), other.astype(np.float64)
    r = correlate(a, b, method="fft") / np.sqrt((a @ a) * (b @ b))
    lags = correlation_lags(len(a), len(b))
    left_db = 10.0 * np.log10(max(1.0 - r[lags == 0].item() ** 2, 1e-15))
    return int(lags[np.abs(r).argmax()]), left_db


@pytest.mark.parametrize("gain_db", [-9.0, 3.0])
@pytest.mark.parametrize(
    ("lag_frames", "noise_dbfs", "copy"),
    [(0, None, True), (0, -60.0, True), (14, -60.0, False), (140, -80.0, False)],
)
def test_what_is_said_is_what_scipy_finds(
    gain_db: float, lag_frames: int, noise_dbfs: float | None, copy: bool
) -> None:
    """A duplicate is said where scipy finds the match at lag zero and less than -12 dB is left."""
    one = heard(voice(12.0), 0.0)
    other = np.roll(one, lag_frames, axis=0) * np.float32(10 ** (gain_db / 20))
    if noise_dbfs is not None:
        other = other + noise(noise_dbfs, 12.0, RATE, seed=9)
    lag, left_db = matches_by_scipy(one[:, 0], other[:, 0])
    assert (lag == 0 and left_db < -12.0) == copy
    said = told(Duplicate(TWO), np.hstack([one, other]), TWO, place=1)
    assert (State.ACTIVE in said.states) == copy


def test_silence_on_both_is_not() -> None:
    """Digital zero on two inputs is no signal."""
    where = scene(2)
    x = np.zeros((3 * RATE, 2), dtype=np.float32)
    assert State.ACTIVE not in told(Duplicate(where), x, where, place=1).states


@pytest.mark.parametrize("strike_s", [0.5, 2.0])
def test_a_bell_that_two_hear_in_step_is_no_copy(strike_s: float) -> None:
    """The partials of a bell that reach two mics in step, 20 dB over what differs between them.

    Ratios of the partials: the five of a tuned bell, hum an octave under the prime, tierce a minor
    third, quint a fifth and nominal an octave over it (W. Hibbert, "The sound of bells").
    """
    at_s = np.arange(12 * RATE) / RATE
    since_s = at_s % strike_s
    bell = sum(
        height * np.sin(2.0 * np.pi * 880.0 * ratio * since_s) * np.exp(-since_s / 2.0)
        for ratio, height in ((0.5, 0.5), (1.0, 1.0), (1.2, 0.7), (1.5, 0.5), (2.0, 0.8))
    )
    x = np.hstack([noise(-58.0, 12.0, RATE, seed=n) for n in (3, 4)])
    x[4 * RATE :] += np.asarray(0.02 * bell, np.float32)[4 * RATE :, None]
    assert State.ACTIVE not in told(Duplicate(TWO), x, TWO, place=1).states


@pytest.mark.parametrize("lag_frames", [1, 2, 4, 10])
def test_two_who_hug_are_not(lag_frames: int) -> None:
    """Both voices reach both microphones within a few samples of each other."""
    one, other = voice(14.0), voice(14.0, seed=2)
    here = heard(one + 0.8 * np.roll(other, lag_frames, axis=0), 0.0)
    there = heard(other + 0.9 * np.roll(one, lag_frames, axis=0), 0.0, seed=6)
    x = np.hstack([here, there])
    assert State.ACTIVE not in told(Duplicate(TWO), x, TWO, place=1).states


def test_a_line_up_tone_on_all_inputs_is_no_copy() -> None:
    """A generator that feeds two inputs is heard as a tone; nothing is patched wrongly."""
    x = np.hstack([sine(-20.0, 10.0, RATE), sine(-20.0, 10.0, RATE)])
    x += noise(-100.0, 10.0, RATE, tracks=2)
    assert State.ACTIVE not in told(Duplicate(TWO), x, TWO, place=1).states


def _falls(seconds: float, seed: int, level_dbfs: float, power: float = 1.0) -> np.ndarray:
    """Noise of a place: falls by 6 dB an octave from 100 Hz on, or by that power of it."""
    frames = round(seconds * 48_000)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames))
    falls = np.maximum(np.fft.rfftfreq(frames, 1 / 48_000), 100.0) ** power
    x = np.fft.irfft(spectrum / falls, n=frames)
    return np.asarray(x / x.std() * 10 ** (level_dbfs / 20) / np.sqrt(2))


@pytest.mark.parametrize("lag", [1, 3, 40])
def test_a_late_copy_is_told_in_five_seconds(lag: int) -> None:
    """One signal that comes samples later on another input, with a converter's noise of its own."""
    place = _falls(14.0, 1, -58.0)
    words = np.clip(np.sin(2 * np.pi * 1.7 * np.arange(len(place)) / 48_000), 0.0, None)
    x = np.stack([place, _falls(14.0, 2, -58.0)], axis=1)
    x[:, 0] += _falls(14.0, 3, -28.0) * words
    at = 6 * 48_000
    x[at:, 1] = x[at - lag : len(x) - lag, 0]
    x += np.random.default_rng(4).standard_normal(x.shape) * 10 ** (-105 / 20)
    said = told(Duplicate(TWO), x.astype(np.float32), TWO, place=1)
    assert said.spans_s
    assert 0.1 * (said.states.index(State.ACTIVE) + 1) <= 6.0 + 5.0


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("copied", [True, False])
def test_steady_air_is_a_copy_only_with_the_noise_of_its_mic(copied: bool, seed: int) -> None:
    """Air handling at the floor, two samples later on the other input, whose converter hisses 22 dB
    under it: a copy; or 14 mm further from a second mic, each with its own hiss."""
    rng = np.random.default_rng(seed)
    low_pass = butter(1, 3000.0, fs=RATE, output="sos")
    duct = sosfilt(low_pass, _falls(14.0, seed, -66.0, power=0.5))
    hiss = rng.standard_normal((len(duct), 3)) * 10.0 ** (np.array([-88.0, -91.0, -88.0]) / 20.0)
    first = duct + hiss[:, 0]
    second = np.roll(first, 2) + hiss[:, 1] if copied else np.roll(duct, 2) + hiss[:, 2]
    x = np.stack([first, _falls(14.0, seed + 7, -65.0)], axis=1)
    x[6 * RATE :, 1] = second[6 * RATE :]
    said = told(Duplicate(TWO), x.astype(np.float32), TWO, place=1)
    assert bool(said.spans_s) is copied
    assert not copied or 0.1 * (said.states.index(State.ACTIVE) + 1) <= 6.0 + 5.0


@pytest.mark.parametrize("lag", [0.5, 2.4])
def test_a_copy_late_by_a_part_of_a_sample_is_told(lag: float) -> None:
    """Through another converter, 6 dB lower, of a mic whose own hiss is bright."""
    rng = np.random.default_rng(6)
    words = np.clip(np.sin(2 * np.pi * 1.7 * np.arange(14 * 48_000) / 48_000), 0.0, None)
    x = np.stack([_falls(14.0, 1, -62.0), _falls(14.0, 2, -58.0)], axis=1)
    x[:, 0] += _falls(14.0, 3, -28.0) * words + rng.standard_normal(len(x)) * 10 ** (-62 / 20)
    turn = 2.0 * np.pi * np.arange(len(x) // 2 + 1) / len(x)
    late = np.fft.irfft(np.fft.rfft(x[:, 0]) * np.exp(-1j * lag * turn), len(x))
    x[6 * 48_000 :, 1] = 0.5 * late[6 * 48_000 :]
    x += rng.standard_normal(x.shape) * 10 ** (-105 / 20)
    said = told(Duplicate(TWO), x.astype(np.float32), TWO, place=1)
    assert said.spans_s
    assert 0.1 * (said.states.index(State.ACTIVE) + 1) <= 6.0 + 5.0


def test_two_who_hug_are_no_copy() -> None:
    """The same words a few samples apart, but in the pauses each mic hears its own cloth."""
    x = np.stack([_falls(30.0, 1, -58.0), _falls(30.0, 2, -58.0)], axis=1)
    words = _falls(30.0, 3, -28.0) * (np.sin(2 * np.pi * 0.9 * np.arange(len(x)) / 48_000) > -0.3)
    x[:, 0] += words
    x[5:, 1] += words[:-5]
    assert not told(Duplicate(TWO), x.astype(np.float32), TWO, place=1).spans_s


@pytest.mark.parametrize("late_frames", [0, 20])
@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_applause_as_far_from_both_mics_is_none(late_frames: int, rate: int) -> None:
    """Forty people clap for 10 s, 20 dB over each mic's own place, on two mics as far away, or
    within 14 cm; each clap is a burst of a few milliseconds (B. Repp, JASA 81, 1987)."""
    rng = np.random.default_rng(8)
    hands = np.zeros(20 * RATE)
    hands[rng.integers(8 * RATE, 18 * RATE, 1600)] = rng.uniform(0.5, 1.5, 1600)
    clap = rng.standard_normal(RATE // 50) * np.exp(-np.arange(RATE // 50) / (0.003 * RATE))
    clapping = at_level(np.convolve(hands, clap)[: 20 * RATE], -34.0)
    mics = [room(20.0, -56.0, rng) + clapping, room(20.0, -56.0, rng) + delayed(clapping, 20)]
    if not late_frames:
        mics[1] = room(20.0, -56.0, rng) + 0.7 * clapping
    x = takes(mics)
    where = replace(TWO, sample_rate_hz=rate)
    assert State.ACTIVE not in told(Duplicate(where), x, where, place=1).states


@pytest.mark.parametrize("late", [15.375, 15.6, 30.5])
def test_applause_a_part_of_a_sample_later_on_the_other_mic_is_none(late: float) -> None:
    """Loud over each mic's own place by 45 dB: what is left of the match is never nothing."""
    rng = np.random.default_rng(4)
    hands = np.zeros(24 * RATE)
    hands[rng.integers(10 * RATE, 22 * RATE, 2000)] = rng.uniform(0.5, 1.5, 2000)
    clap = rng.standard_normal(RATE // 50) * np.exp(-np.arange(RATE // 50) / (0.003 * RATE))
    clapping = at_level(np.convolve(hands, clap)[: len(hands)], -20.0)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(len(hands)) * late)
    later = np.fft.irfft(np.fft.rfft(clapping) * turn, len(hands))
    x = takes([room(24.0, -64.0, rng) + clapping, room(24.0, -64.0, rng) + later])
    assert State.ACTIVE not in told(Duplicate(TWO), x, TWO, place=1).states


@pytest.mark.parametrize("late_frames", [7, 23])
def test_a_drone_that_two_mics_hear_for_long_is_no_copy(late_frames: int) -> None:
    """Two reeds, nine harmonics each, whose levels sway by 5 %, stand for 38 s, 35 dB over each
    mic's own place, up to 16 cm further from one: no pause shows what each hears besides."""
    rng = np.random.default_rng(5)
    seconds, time_s = 40.0, np.arange(40 * RATE) / RATE
    drone = np.zeros(len(time_s))
    for reed_hz in (116.5, 233.2):
        for n in range(1, 10):
            turn = 2.0 * np.pi * reed_hz * n * time_s + n
            drone += np.sin(turn) / np.sqrt(n) * swaying(seconds, rng, 0.5, 0.4)
    drone = at_level(drone, -22.0) * (time_s >= 2.0)
    x = takes([room(seconds, -58.0, rng) + one for one in (drone, delayed(drone, late_frames))])
    assert State.ACTIVE not in told(Duplicate(TWO), x, TWO, place=1).states
