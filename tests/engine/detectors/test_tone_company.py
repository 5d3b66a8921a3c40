"""What a line that stands is, if it is no howl: bells, pipes, machines, engines and beepers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve, iirpeak, lfilter

from engine.detectors.tone import Tone
from engine.model.messages import Samples, State
from tests.support.detector_tracks import engine_runs
from tests.support.signals import noise, scene, sine
from tests.support.watching import told

RATE = 48_000
THREE = scene(3, RATE)


def place(seconds: float = 20.0) -> Samples:
    """Three tracks of room noise."""
    return noise(-56.0, seconds, RATE, seed=2, tracks=3)


def test_a_bell_a_siren_and_air_handling_are_no_tone() -> None:
    """A line that decays by 2 dB a second, one that glides, and steady noise say nothing."""
    x = place()
    time_s = np.arange(len(x)) / RATE
    x[:, 0] += sine(-12.0, 20.0, RATE, 523.0)[:, 0] * 10 ** (-2.0 * (time_s % 8.0) / 20)
    glide_hz = 700.0 + 200.0 * np.sin(2.0 * np.pi * 0.3 * time_s)
    x[:, 1] += 0.1 * np.sin(2.0 * np.pi * np.cumsum(glide_hz) / RATE)
    x[:, 2] = noise(-35.0, 20.0, RATE, seed=4)[:, 0]
    assert not any(told(Tone(THREE), x, THREE, track).spans_s for track in range(3))


PARTIALS = ((0.5, 0.7, 1.0), (1.0, 1.0, 0.6), (1.2, 0.8, 0.5), (1.5, 0.3, 0.35), (2.0, 0.8, 0.3))
"""Hum, prime, tierce, quint and nominal of a tuned bell (N. Fletcher and T. Rossing, The Physics of
Musical Instruments, ch. 21; from memory); level and share of the longest decay are ours."""


def bell(hz: float, decay_s: float, strike_s: float, seconds: float = 20.0) -> Samples:
    """A bell struck again and again: 60 dB in that time, each stroke with phases of its own."""
    rng = np.random.default_rng(round(hz + decay_s + 10.0 * strike_s))
    x = np.zeros(round(seconds * RATE))
    for begin in np.arange(0.0, seconds, strike_s):
        first = round(begin * RATE)
        time_s = np.arange(len(x) - first) / RATE
        for ratio, part, share in PARTIALS:
            phase = 2.0 * np.pi * (hz * ratio * time_s + rng.uniform())
            x[first:] += part * np.sin(phase) * 10.0 ** (-3.0 * time_s / (decay_s * share))
    return (0.3 * x / np.abs(x).max()).astype(np.float32)


@pytest.mark.parametrize("hz", [220.0, 800.0])
@pytest.mark.parametrize("decay_s", [25.0, 50.0])
@pytest.mark.parametrize("strike_s", [1.2, 2.0, 3.5])
def test_a_bell_that_is_rung_is_no_tone(hz: float, decay_s: float, strike_s: float) -> None:
    """Struck anew before it has died away, it rings on one note for as long as one likes."""
    x = place()
    x[:, 0] += bell(hz, decay_s, strike_s)
    assert not told(Tone(THREE), x, THREE, 0).spans_s


@pytest.mark.parametrize(("line_dbfs", "said"), [(-41.0, False), (-24.0, True)])
def test_the_whine_of_a_machine_in_its_own_noise_is_no_tone(line_dbfs: float, said: bool) -> None:
    """A dryer's fan: a line that no moment lets be heard alone; what stands out of it is a tone."""
    x = place(16.0)
    on = slice(5 * RATE, 14 * RATE)
    x[on, 0] += noise(-28.0, 9.0, RATE, seed=8)[:, 0] + sine(line_dbfs, 9.0, RATE, 1980.0)[:, 0]
    assert bool(told(Tone(THREE), x, THREE, 0).spans_s) is said


@pytest.mark.parametrize("covered", [False, True])
def test_an_organ_pipe_is_no_tone(covered: bool) -> None:
    """A principal's note of 9 s has an octave, whether or not a room's noise covers some of it."""
    x = place()
    on = slice(5 * RATE, 14 * RATE)
    for order in range(1, 7):
        x[on, 0] += sine(-16.0 - 4.4 * (order - 1), 9.0, RATE, 261.6 * order)[:, 0]
    if covered:
        x[on, 0] += noise(-40.0, 9.0, RATE, seed=12)[:, 0]
    assert not told(Tone(THREE), x, THREE, 0).spans_s


@pytest.mark.parametrize("beats_hz", [0.0, 5.5])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_chord_of_pipes_is_no_tone(beats_hz: float, seed: int) -> None:
    """A, C sharp, E and A an octave on, held with and without a tremulant: a tenth of a second
    hardly parts them. Each has an octave 15 dB fainter (common practice, no source)."""
    rng = np.random.default_rng(seed)
    x, time_s = place(12.0), np.arange(12 * RATE) / RATE
    sways = np.sin(2.0 * np.pi * beats_hz * time_s)
    for hz, part in zip((220.0, 277.2, 329.6, 440.0), (1.0, 0.55, 0.17, 0.45), strict=True):
        phase = 2.0 * np.pi * hz * time_s + rng.uniform(0.0, 6.0) + 0.001 * hz * sways
        tone = np.sin(phase) + 0.18 * np.sin(2.0 * phase)
        x[:, 0] += (0.2 * part * (1.0 + 0.18 * sways) * tone).astype(np.float32)
    assert not told(Tone(THREE), x, THREE, 0).spans_s


@pytest.mark.parametrize("limit", [0.7, 0.2])
def test_a_howl_in_a_loudspeaker_at_its_limits_is_a_tone(limit: float) -> None:
    """Cut on both sides alike, it has odd multiples: nearly a square wave's third at -9.5 dB."""
    x = place()
    howl = np.clip(sine(0.0, 9.0, RATE, 740.0) / limit, -1.0, 1.0)
    x[5 * RATE : 14 * RATE, :1] += np.float32(0.1) * howl
    assert told(Tone(THREE), x, THREE, 0).spans_s


@pytest.mark.parametrize(("beside_db", "said"), [(-6.0, False), (-14.0, True)])
def test_a_drone_under_a_melody_is_no_tone(beside_db: float, said: bool) -> None:
    """Peal or bagpipe: one line stands, others come and go beside it, each for half a second; far
    fainter ones are what somebody says over a howl."""
    x = place(16.0)
    t = np.arange(12 * RATE) / RATE
    melody_hz = np.random.default_rng(4).uniform(210.0, 900.0, 24)
    notes = np.repeat(melody_hz, RATE // 2)
    line = np.sin(2.0 * np.pi * 196.0 * t)
    line += 10.0 ** (beside_db / 20.0) * np.sin(2.0 * np.pi * np.cumsum(notes) / RATE)
    x[4 * RATE :, 0] += (0.04 * line).astype(np.float32)
    assert bool(told(Tone(THREE), x, THREE, 0).spans_s) is said


@pytest.mark.parametrize("at_s", [4.0, 4.11, 4.23])
@pytest.mark.parametrize("decay_s", [0.0, 0.7])
def test_a_reversing_beeper_is_no_tone(at_s: float, decay_s: float) -> None:
    """A quarter of a second on, a quarter off, in step with the looks at the spectrum, in the open
    and in a yard where sound takes 0.7 s to fall by 60 dB."""
    x = place(16.0)
    t = np.arange(len(x)) / RATE
    beeps = (t >= at_s) & ((t - at_s) % 0.5 < 0.25)
    fall = np.exp(-6.91 / (decay_s * RATE)) if decay_s else 0.0
    beeps = lfilter([1.0 - fall], [1.0, -fall], beeps * 1.0)
    x[:, 0] += (0.02 * beeps * np.sin(2.0 * np.pi * 2800.0 * t)).astype(np.float32)
    assert not told(Tone(THREE), x, THREE, 0).spans_s


@pytest.mark.parametrize("at_s", [4.0, 4.11, 4.23, 4.37])
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_beeper_is_no_tone_where_its_pauses_are_filled(at_s: float, seed: int) -> None:
    """In a yard whose echoes differ from mic to mic, 3 to 8 dB over other sound: no moment is
    quieter than the line, but the line is fainter in each pause."""
    rng = np.random.default_rng(seed)
    x = place(16.0)
    t = np.arange(len(x)) / RATE
    beeps = ((t >= at_s) & ((t - at_s) % 0.5 < 0.25)) * np.sin(2.0 * np.pi * 2800.0 * t)
    for track in range(3):
        echoes = rng.standard_normal(RATE) * np.exp(-6.91 * np.arange(RATE) / (0.7 * RATE))
        echoes *= 0.8 / np.linalg.norm(echoes)
        echoes[0] = 1.0
        x[:, track] += (0.02 * fftconvolve(beeps, echoes)[: len(x)]).astype(np.float32)
        x[:, track] += noise(-37.0 - 2.5 * track, 16.0, RATE, seed=seed + track)[:, 0]
    assert not any(told(Tone(THREE), x, THREE, track).spans_s for track in range(3))


@pytest.mark.parametrize(("turns", "order"), [(3340.0, 8), (2870.0, 21)])
@pytest.mark.parametrize("seed", [20, 21])
def test_an_engine_is_no_tone(turns: float, order: int, seed: int) -> None:
    """One of the lines of its shaft lies on the note of its pipe and stands far over the others."""
    x = place(16.0)
    runs = engine_runs(-24.0, 16.0, RATE, turns, seed)[:, 0]
    pipe = lfilter(*iirpeak(turns / 120.0 * order, 60.0, fs=RATE), runs)
    x[:, 0] += (0.5 * runs + 3.0 * pipe).astype(np.float32)
    assert not told(Tone(THREE), x, THREE, 0).spans_s


def test_a_howl_over_what_is_said_is_a_tone() -> None:
    """Vowels as loud as the howl, of a pitch that glides and with a pause after each, hide nothing
    of it."""
    x = place(14.0)
    t = np.arange(10 * RATE) / RATE
    pitch_hz = 130.0 * 2.0 ** (0.3 * np.sin(2.0 * np.pi * 0.7 * t) + 0.05 * np.sin(17.0 * t))
    turns = np.cumsum(pitch_hz) / RATE
    voice = sum(np.cos(2.0 * np.pi * n * turns + n * n) / n for n in range(1, 24))
    voice = voice * np.clip(4.0 * np.sin(2.0 * np.pi * 2.2 * t), 0.0, 1.0)
    howl = np.sin(2.0 * np.pi * 1477.0 * t)
    x[4 * RATE :, 0] += (0.05 * (voice + howl)).astype(np.float32)
    ((onset_s, _),) = told(Tone(THREE), x, THREE, 0).spans_s
    assert onset_s == pytest.approx(4.0, abs=0.3)


@pytest.mark.parametrize("hz", [310.0, 1000.0, 1870.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_howl_that_all_mics_hear_is_no_line_up_tone(hz: float, seed: int) -> None:
    """Five mics 3 to 15 m from the loudspeaker, by 1/r, each later by its way through air."""
    five = scene(5, RATE)
    rng = np.random.default_rng(seed)
    x = noise(-56.0, 10.0, RATE, seed=seed, tracks=5)
    time_s = np.arange(7 * RATE) / RATE
    for track, far_m in enumerate(rng.uniform(3.0, 15.0, 5)):
        howl = np.sin(2.0 * np.pi * hz * (time_s - far_m / 343.0))
        x[3 * RATE :, track] += (0.3 / far_m * howl).astype(np.float32)
    detector = Tone(five)
    (said,) = np.nonzero(told(detector, x, five).conditions[-1].state == State.ACTIVE)
    assert len(said) == 1
    assert detector.detail(int(said[0])).startswith("howl on 5 inputs")


@pytest.mark.parametrize("own", [False, True])
def test_a_line_up_tone_comes_by_the_line(own: bool) -> None:
    """From the desk through inputs whose gains differ by up to 20 dB, one upside down; or made by
    each pack itself, equally loud, each with its own oscillator."""
    five = scene(5, RATE)
    x = noise(-70.0, 10.0, RATE, seed=3, tracks=5)
    time_s = np.arange(len(x)) / RATE
    for track, gain_db in enumerate((0.0, -6.0, 9.0, -11.0, 3.0)):
        hz, phase = (1000.0 + 0.01 * track, 2.0 * track) if own else (1000.0, np.pi * (track == 2))
        size = 0.1 if own else 0.1 * 10.0 ** (gain_db / 20.0)
        x[:, track] += (size * np.sin(2.0 * np.pi * hz * time_s + phase)).astype(np.float32)
    detector = Tone(five)
    assert all(told(detector, x, five).conditions[-1].state == State.ACTIVE)
    assert detector.detail(4).startswith("line-up tone on all 5 inputs")


@pytest.mark.parametrize("hz", [205.0, 290.0, 420.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_note_that_somebody_holds_is_no_tone(hz: float, seed: int) -> None:
    """An "oo" of 8 s without vibrato: next to nothing but the fundamental, whose pitch wanders by 4
    cents within a third of a second (J. Sundberg, 1987; from memory)."""
    rng = np.random.default_rng(seed)
    steps = np.sqrt(1.0 - 0.85**2) * rng.normal(0.0, 4.0, 170)
    cents = np.interp(
        np.arange(8 * RATE) / RATE, 0.05 * np.arange(170), lfilter([1], [1, -0.85], steps)
    )
    phase = 2.0 * np.pi * np.cumsum(hz * 2.0 ** (cents / 1200.0)) / RATE
    note = np.sin(phase) + 0.06 * np.sin(2.0 * phase) + 0.02 * rng.standard_normal(len(phase))
    x = place(16.0)
    for track, level_dbfs in enumerate((-14.0, -28.0, -36.0)):
        x[4 * RATE : 12 * RATE, track] += (10.0 ** (level_dbfs / 20.0) * note).astype(np.float32)
    assert not any(told(Tone(THREE), x, THREE, track).spans_s for track in range(3))


def test_a_howl_as_loud_on_all_mics_is_no_line_up_tone() -> None:
    """Five mics as far from the loudspeaker within half a decibel: their phases show the way
    through air."""
    five = scene(5, RATE)
    x = noise(-56.0, 10.0, RATE, seed=6, tracks=5)
    time_s = np.arange(7 * RATE) / RATE
    for track, far_m in enumerate((4.51, 4.98, 4.77, 4.63, 4.86)):
        howl = np.sin(2.0 * np.pi * 1916.0 * (time_s - far_m / 343.0))
        x[3 * RATE :, track] += (0.3 / far_m * howl).astype(np.float32)
    detector = Tone(five)
    (said,) = np.nonzero(told(detector, x, five).conditions[-1].state == State.ACTIVE)
    assert len(said) == 1
    assert detector.detail(int(said[0])).startswith("howl on 5 inputs")
