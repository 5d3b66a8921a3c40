"""Gaps that a link fills with what came last, after what a rig does to them.

Concealment by repetition of the last piece is the plain method of packet audio (ITU-T G.711
appendix I repeats pitch periods; plain repetition is common practice, no source).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from engine.detectors.dropout import Dropout
from engine.measure.tick_block import TickBlock
from engine.model.messages import State
from tests.support.signals import noise, scene, sine
from tests.support.watching import measurements, told

RATE = 48_000
Wave = NDArray[np.float64]


def place(seconds: float, seed: int = 3) -> Wave:
    """A room that falls by 5 dB an octave with gusts, a mic's own noise, and a voice's pulses."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * RATE)
    low = signal.lfilter([0.05], [1.0, -0.95], rng.standard_normal(frames))
    gusts_db = rng.normal(0.0, 2.0, frames // 9600 + 2)
    gusts = 10.0 ** (np.interp(np.arange(frames) / 9600.0, np.arange(len(gusts_db)), gusts_db) / 20)
    pulses = np.diff(np.floor(np.cumsum(np.full(frames, 117.0) / RATE)), prepend=0.0)
    throat = signal.butter(1, [500.0, 1500.0], "bandpass", fs=RATE, output="sos")
    vowel = signal.sosfilt(throat, pulses)
    speaks = np.sin(2.0 * np.pi * 0.4 * np.arange(frames) / RATE) > 0.0
    return np.asarray(0.01 * low * gusts + 1e-4 * rng.standard_normal(frames) + vowel * speaks)


def filled(x: Wave, at_s: float, length_s: float, piece_s: float, fade_db: float = 0.0) -> Wave:
    """The same with one gap filled with the piece before it, again and again."""
    first, frames = round(at_s * RATE), round(length_s * RATE)
    piece = x[first - round(piece_s * RATE) : first]
    out = x.copy()
    fade = 10.0 ** (-fade_db / 20.0 * np.linspace(0.0, 1.0, frames))
    out[first : first + frames] = np.resize(piece, frames) * fade
    return out


def after(x: Wave, chain: str) -> tuple[NDArray[np.float32], int]:
    """What an analogue step with its noise, a resampler, or 16 bits with dither make of it."""
    rng = np.random.default_rng(9)
    if chain == "44.1 kHz":
        return signal.resample(x, round(len(x) * 44_100 / RATE)).astype(np.float32)[:, None], 44_100
    if chain == "asynchronous":
        x = signal.resample(x, round(len(x) * 1.00006))
    if chain == "analogue":
        x = signal.lfilter(*signal.butter(1, 15.0, "highpass", fs=RATE), x)
        x = x + noise(-96.0, len(x) / RATE, RATE)[:, 0]
    if chain == "resampled to 16 bits":  # what lies near half of 44.1 kHz comes back mirrored
        x = signal.resample_poly(signal.resample_poly(x, 147, 160), 160, 147)
    dither = rng.random(len(x)) - rng.random(len(x))
    return (np.round(x * 32_768.0 + dither) / 32_768.0).astype(np.float32)[:, None], RATE


@pytest.mark.parametrize(
    "chain", ["analogue", "44.1 kHz", "asynchronous", "16 bits", "resampled to 16 bits"]
)
@pytest.mark.parametrize(
    ("length_s", "piece_s", "fade_db"),
    [
        (0.06, 0.005, 0.0),
        (0.15, 0.005, 0.0),
        (0.1, 0.0025, 0.0),
        (0.4, 0.005, 12.0),
        (0.06, 0.005, 12.0),
        (0.15, 0.004, 30.0),
    ],
)
def test_a_filled_gap(length_s: float, piece_s: float, fade_db: float, chain: str) -> None:
    """One filled gap is told within half a second, though no two of its samples are equal."""
    x, rate = after(filled(place(4.0), 3.0123, length_s, piece_s, fade_db), chain)
    where = scene(rate_hz=rate)
    said = told(Dropout(where), x, where)
    assert 30 <= said.states.index(State.ACTIVE) <= 34  # its tick ends within half a second
    begin_s, end_s = said.spans_s[0]
    assert begin_s == pytest.approx(3.0123, abs=0.06)
    assert end_s <= 3.0123 + length_s + 0.06


def test_ticks_that_come_together_are_told_the_same() -> None:
    """A gap in each of the ten ticks of a block, one in a block, as a scan has them; none of them
    is lost by what was foreseen of the block."""
    x = place(12.0, seed=4)
    at_s = [1.0 + 1.1 * n + 0.0123 for n in range(10)]
    for each_s in at_s:
        x = filled(x, each_s, 0.08, 0.005)
    y, rate = after(x, "16 bits")
    where = scene(rate_hz=rate)
    alone, ahead = Dropout(where), Dropout(where)
    ticks = measurements(y, where)
    said = []
    for n, (m, feed) in enumerate(ticks):
        if n % 10 == 0:
            ahead.look_ahead(TickBlock([one for one, _ in ticks[n : n + 10]]))
        one, other = alone.update(m, feed), ahead.update(m, feed)
        for name in ("state", "onset_s", "last_s", "may_be_red"):
            assert getattr(one, name).tobytes() == getattr(other, name).tobytes()
        if one.state[0] == State.ACTIVE:
            said.append(float(one.last_s[0]))
    assert all(any(abs(last_s - each_s) < 0.1 for last_s in said) for each_s in at_s)


def test_gaps_that_are_filled_with_quiet_moments() -> None:
    """The mic's own noise is -88 dBFS, that of 16 bits with dither -96; every one is told."""
    x = place(10.0, seed=4)
    for n in range(8):
        x = filled(x, 2.0123 + n, 0.1, 0.005, 12.0)
    y, rate = after(x * 0.4, "resampled to 16 bits")
    where = scene(rate_hz=rate)
    said = told(Dropout(where), y, where)
    times = [n for n, state in enumerate(said.states) if state is State.ACTIVE]
    assert {round(0.1 * n - 2.3) for n in times} == set(range(8))


@pytest.mark.parametrize(("harmonics", "length_s"), [(11, 0.25), (11, 2.0), (90, 2.0)])
def test_a_note_without_noise_of_its_own_fills_no_gap(harmonics: int, length_s: float) -> None:
    """A few lines, however short the note; many lines, where it lasts longer than any gap."""
    t = np.arange(round(length_s * RATE)) / RATE
    note = sum(np.sin(2.0 * np.pi * 200.0 * k * t) / k for k in range(1, harmonics + 1))
    x = place(6.0)
    x[3 * RATE : 3 * RATE + len(t)] += 0.1 * note
    where = scene()
    assert State.ACTIVE not in told(Dropout(where), x.astype(np.float32)[:, None], where).states


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("harmonics", [20, 35, 50])
def test_a_sung_note_over_its_breath_fills_no_gap(harmonics: int, seed: int) -> None:
    """Notes of 60 to 200 ms, held to the sample, with all harmonics up to 4, 7 or 10 kHz, 45 dB
    over the noise of breath and place, which is not heard twice."""
    rng = np.random.default_rng(seed)
    x = noise(-72.0, 8.0, RATE, seed=seed)[:, 0].astype(np.float64)
    for at_s in np.arange(1.0, 7.0, 0.4):
        t = np.arange(round(rng.uniform(0.06, 0.2) * RATE)) / RATE
        turn = 2.0 * np.pi * 200.0 * t
        note = sum(np.sin(turn * k + k * k) / k for k in range(1, harmonics + 1))
        x[round(at_s * RATE) :][: len(t)] += 0.05 * note * np.hanning(len(t)) ** 0.2
    where = scene()
    assert State.ACTIVE not in told(Dropout(where), x.astype(np.float32)[:, None], where).states


@pytest.mark.parametrize("chain", ["analogue", "asynchronous"])
def test_live_sound_never_repeats(chain: str) -> None:
    """A place with a voice in it fills no gap, however steady its pitch."""
    x, rate = after(place(12.0, seed=5), chain)
    where = scene(rate_hz=rate)
    assert State.ACTIVE not in told(Dropout(where), x, where).states


def test_tones_and_silence_are_not_filled() -> None:
    """Beeps of one tone, their octave, and digital zero repeat, and are no concealment."""
    x = place(6.0)[:, None].astype(np.float32)
    beep = sine(-20.0, 0.15, RATE, hz=1000.0) + sine(-26.0, 0.15, RATE, hz=2000.0)
    for at_s in (3.0, 4.0, 5.0):
        x[round(at_s * RATE) :][: len(beep)] += beep
    x[round(5.4 * RATE) :] = 0.0
    where = scene()
    assert State.ACTIVE not in told(Dropout(where), x, where).states


def test_the_line_says_filled() -> None:
    """The detail tells that the gap was filled."""
    x, _ = after(filled(place(4.0), 3.0, 0.1, 0.005), "16 bits")
    where = scene()
    detector = Dropout(where)
    told(detector, x, where)
    assert detector.detail(0).startswith("1 gap in 10 s")
    assert detector.detail(0).endswith("filled with what came before")
