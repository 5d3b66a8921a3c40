"""Clipped: flat tops at full scale or a lower ceiling.

Source for the kind of fault: MovieLabs QC Vocabulary 1.1 (2019), CLIPPING: peaks that flat-line, at
0 dB or lower where the source was overloaded. Lengths of runs and seconds are ours, by CONTRACT.md;
that three samples in a row count as an over is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, lfilter, resample, resample_poly, sosfilt

from engine.detectors.clipped import Clipped
from engine.model.messages import Kind, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.signals import RATES_HZ, noise, scene, sine
from tests.support.watching import Told, lost, told

RATE = 48_000


def overload(
    ceiling: float, drive_db: float = 6.0, first_s: float = 1.0, last_s: float = 1.5
) -> Samples:
    """Three seconds of a 440 Hz tone, driven over a hard ceiling for a while."""
    x = sine(20 * np.log10(ceiling) - 3.0, 3.0, RATE, hz=440.0)
    span = slice(round(first_s * RATE), round(last_s * RATE))
    x[span] = np.clip(x[span] * 10 ** ((3.0 + drive_db) / 20), -ceiling, ceiling)
    return x


def clipped(samples: Samples, where: Scene | None = None) -> Told:
    """What is said of the first track."""
    where = where or scene()
    return told(Clipped(where), samples, where)


@pytest.mark.parametrize("ceiling", [1.0, 0.89, 0.25])
def test_flat_tops_at_any_ceiling(ceiling: float) -> None:
    """An overload is told at full scale and at lower ceilings, while it lasts and no longer."""
    said = clipped(overload(ceiling))
    active_s = [n / 10 for n, state in enumerate(said.states) if state is State.ACTIVE]
    assert active_s[0] == pytest.approx(1.0)
    assert active_s[-1] == pytest.approx(1.5, abs=0.11)
    assert said.spans_s[0][0] == pytest.approx(1.0, abs=0.1)
    assert said.spans_s[-1][1] == pytest.approx(1.5, abs=0.1)


def test_one_side_only() -> None:
    """Flat tops on one side are enough."""
    x = overload(0.9)
    x[x < 0] *= 0.5
    assert State.ACTIVE in clipped(x).states


@pytest.mark.parametrize("level_dbfs", [-0.3, 0.0, -12.0])
def test_loud_is_not_clipped(level_dbfs: float) -> None:
    """A tone up to full scale without flat tops is no fault."""
    assert State.ACTIVE not in clipped(sine(level_dbfs, 3.0, RATE, hz=997.0)).states


def test_silence_is_not_clipped() -> None:
    """Digital zero is flat, but no overload."""
    assert State.ACTIVE not in clipped(np.zeros((RATE, 1), dtype=np.float32)).states


def test_one_short_overload_does_not_go_on() -> None:
    """Half a second of it does not deserve red; three of the last ten seconds do."""
    assert not clipped(overload(1.0)).may_be_red
    assert clipped(overload(1.0, first_s=0.1, last_s=2.9)).may_be_red


def test_lost_audio_is_unknown() -> None:
    """A tick that was lost whole says nothing."""
    where, x = scene(), sine(-10.0, 1.0, RATE)
    x[RATE // 2 :] = 0.0
    said = told(Clipped(where), x, where, missing=lost(len(x), (RATE // 2, RATE)))
    assert said.states[5:] == [State.UNKNOWN] * 5


@pytest.mark.parametrize("kind", [Kind.COMMS, Kind.TIMECODE, Kind.UNUSED])
def test_kinds_without_clipping(kind: Kind) -> None:
    """Comms, timecode and unused tracks are not looked at."""
    where = Scene((Track(1, kind=kind),), RATE)
    assert State.ACTIVE not in clipped(overload(1.0), where).states


def quantised(samples: Samples, bits: int) -> Samples:
    """The samples as a converter of so many bits gives them."""
    steps = 2.0 ** (bits - 1)
    return np.asarray(np.clip(np.round(samples * steps), -steps, steps - 1) / steps, np.float32)


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("rate", RATES_HZ)
def test_any_rate_and_depth(rate: int, bits: int) -> None:
    """A driven tone is found at every rate and depth, the same tone just under is not."""
    where = scene(rate_hz=rate)
    x = sine(3.0, 1.0, rate, hz=440.0)
    assert (
        State.ACTIVE in told(Clipped(where), quantised(np.clip(x, -0.7, 0.7), bits), where).states
    )
    assert State.ACTIVE not in told(Clipped(where), quantised(0.7 * x, bits), where).states


@pytest.mark.parametrize(("corner_hz", "hz"), [(5.0, 220.0), (20.0, 220.0), (40.0, 440.0)])
def test_tops_tilted_by_a_high_pass(corner_hz: float, hz: float) -> None:
    """A coupling capacitor after the overload tilts the tops; they are found still."""
    x = np.clip(sine(0.0, 2.0, RATE, hz=hz), -0.5, 0.5)
    b, a = butter(1, corner_hz, "highpass", fs=RATE)
    assert State.ACTIVE in clipped(np.asarray(lfilter(b, a, x, axis=0), np.float32)).states


@pytest.mark.parametrize("hz", [1100.0, 1700.0, 2300.0])
def test_short_tops_tilted_by_a_high_pass(hz: float) -> None:
    """Tops of four to seven samples of a lively voice lean as well, and are as flat."""
    x = np.clip(sine(-7.0, 3.0, RATE, hz=hz) + sine(-30.0, 3.0, RATE, hz=310.0), -0.36, 0.36)
    x[:RATE] *= np.float32(0.5)
    b, a = butter(1, 16.0, "highpass", fs=RATE)
    said = clipped(np.asarray(lfilter(b, a, x, axis=0), np.float32))
    assert said.states.index(State.ACTIVE) <= 11


def voice(seconds: float, pitch_hz: float = 120.0, seed: int = 7) -> Samples:
    """Pulses of a glottis that wavers, through three formants; peak 1.0, shape (frames, 1).

    Source: source-filter model of G. Fant (1960), formants of an open vowel (Peterson and Barney).
    """
    rng = np.random.default_rng(seed)
    frames = round(seconds * RATE)
    wavers = pitch_hz * (1.0 + 0.03 * np.sin(2.0 * np.pi * 2.3 * np.arange(frames) / RATE))
    phase = np.cumsum(wavers) / RATE
    loud = 1.0 + 0.15 * np.sin(2.0 * np.pi * 0.7 * np.arange(frames) / RATE)
    x = np.diff(np.floor(phase), prepend=0.0) * loud + 1e-4 * rng.standard_normal(frames)
    for formant_hz, width_hz in ((730.0, 60.0), (1090.0, 90.0), (2440.0, 150.0)):
        radius, angle = np.exp(-np.pi * width_hz / RATE), 2.0 * np.pi * formant_hz / RATE
        x = lfilter([1.0], [1.0, -2.0 * radius * np.cos(angle), radius**2], x)
    return np.asarray(x / np.abs(x).max(), dtype=np.float32)[:, None]


def stepped(x: Samples, chain: str) -> tuple[Samples, int]:
    """Sound after an analogue step, a change of the rate, or a clock of its own; with its rate."""
    if chain == "analogue":
        x = lfilter(*butter(1, 15.0, "highpass", fs=RATE), x, axis=0)
        x = sosfilt(butter(2, 20_000, fs=RATE, output="sos"), x, axis=0)
        return np.asarray(x, np.float32) + noise(-95.0, len(x) / RATE, RATE), RATE
    rate = 44_100 if chain == "44.1 kHz" else RATE
    ratio = rate / RATE * (1.0 if chain == "44.1 kHz" else 1.0 + 60e-6)
    return np.asarray(resample(x, round(len(x) * ratio)), np.float32), rate


@pytest.mark.parametrize("chain", ["analogue", "44.1 kHz", "asynchronous"])
@pytest.mark.parametrize("over_db", [3.0, 12.0])
def test_a_voice_that_a_pack_cut_off(chain: str, over_db: float) -> None:
    """A voice that overloads its pack is told within half a second, whatever follows the pack."""
    x = 0.4 * voice(3.0)
    x[RATE:] = np.clip(10 ** (over_db / 20) * x[RATE:], -0.4, 0.4)
    x, rate = stepped(x, chain)
    said = clipped(x, scene(rate_hz=rate))
    assert 10 <= said.states.index(State.ACTIVE) <= 14


@pytest.mark.parametrize("chain", ["analogue", "44.1 kHz", "asynchronous"])
def test_a_loud_or_limited_voice_is_not_clipped(chain: str) -> None:
    """The same voice is no fault below the ceiling, nor where a limiter holds its peaks level."""
    x = voice(3.0)
    hop = RATE // 100
    peaks = np.abs(x).reshape(-1, hop).max(axis=1)
    gain = np.minimum(1.0, 0.5 / np.maximum(np.maximum(peaks, np.roll(peaks, -1)), 1e-3))
    limited = x * np.interp(np.arange(len(x)), hop * np.arange(len(gain)), gain)[:, None]
    for sound in (0.8 * x, limited.astype(np.float32)):
        y, rate = stepped(sound, chain)
        assert State.ACTIVE not in clipped(y, scene(rate_hz=rate)).states


def sung(breath_db: float) -> Samples:
    """Eight voices that hold a note for 12 s, with some vibrato: harmonics that fall by 9 dB an
    octave, their phases at random as a room leaves them, and white breath."""
    time_s = np.arange(12 * RATE) / RATE
    turns = np.cumsum(275.0 * (1.0 + 0.03 * np.sin(2.0 * np.pi * 5.0 * time_s))) / RATE
    swell = 1.0 + 0.1 * np.sin(2.0 * np.pi * 0.7 * time_s)
    voices = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        phases = rng.uniform(0.0, 2.0 * np.pi, 11)
        tone = sum(
            np.sin(2.0 * np.pi * n * turns + phase) * n**-1.5 for n, phase in enumerate(phases, 1)
        )
        tone *= swell / np.std(tone)
        voices.append(0.015 * (tone + 10.0 ** (breath_db / 20.0) * rng.normal(size=len(time_s))))
    return np.array(voices, dtype=np.float32).T


@pytest.mark.parametrize(("breath_db", "offset"), [(-32.0, 0.0), (-36.0, 0.0), (-24.0, 0.4)])
def test_breath_on_a_steady_voice_draws_no_ceiling(breath_db: float, offset: float) -> None:
    """Nothing was cut, so nothing is told: not far off zero either, as a leaking capacitor leaves
    it, where all of the voice lies near the peak."""
    where = scene(8)
    conditions = told(Clipped(where), sung(breath_db) + np.float32(offset), where).conditions
    assert not any(Told(conditions, place).spans_s for place in range(8))


def test_what_was_higher_is_no_ceiling() -> None:
    """Cut tops under a height that the same side reached within the last second prove nothing."""
    x = sine(-12.0, 3.0, RATE, hz=330.0)
    x[RATE:] = np.clip(3.0 * x[RATE:], -0.4, 0.4)
    x, _ = stepped(x, "analogue")
    assert clipped(x).states.index(State.ACTIVE) == 10
    for share in (0.1, 0.35):  # once on each side within any second
        x[round((0.5 + share) * RATE) :: RATE // 2] = np.float32(0.5 if share < 0.2 else -0.5)
    assert State.ACTIVE not in clipped(x).states


@pytest.mark.parametrize(("tops", "is_clipped"), [(1, False), (2, True)])
def test_long_tilted_tops(tops: int, is_clipped: bool) -> None:
    """Two long tops of one height prove an overload behind a high-pass, one alone does not."""
    tone = sine(-6.0, 1.0, RATE, hz=500.0)
    first = round(0.5 * RATE)
    span = slice(first, first + tops * RATE // 500)
    tone[span] = np.minimum(1.6 * tone[span], 0.65)
    b, a = butter(1, 8.0, "highpass", fs=RATE)
    tilted = lfilter(b, a, tone, axis=0).astype(np.float32)
    assert (State.ACTIVE in clipped(tilted).states) is is_clipped


def test_noisy_flats() -> None:
    """The noise of a converter at -90 dBFS on the tops hides no overload before it."""
    x = np.clip(sine(0.0, 2.0, RATE, hz=330.0), -0.5, 0.5) + noise(-90.0, 2.0, RATE)
    assert State.ACTIVE in clipped(x).states


@pytest.mark.parametrize("hz", [20.0, 50.0, 110.0, 440.0, 997.0])
@pytest.mark.parametrize("bits", [16, 24])
def test_round_tops_are_not_flat(hz: float, bits: int) -> None:
    """Pure tones, 16-bit rumble, and the flattest wave of two harmonics have no flat tops."""
    tone = sine(-1.0, 2.0, RATE, hz=hz)
    third = sine(-1.0, 2.0, RATE, hz=3 * hz)
    for x in (tone, 0.9 * (tone + third / 9.0), np.tanh(3.0 * tone)):
        assert State.ACTIVE not in clipped(quantised(x, bits)).states


def test_the_line_says_how_many_and_how_high() -> None:
    """The detail counts the flat tops of the last ten seconds and names the ceiling."""
    detector, where = Clipped(scene()), scene()
    told(detector, overload(0.5, first_s=1.0, last_s=1.05), where)
    number, rest = detector.detail(0).split(" ", 1)
    assert 40 <= int(number) <= 46  # 440 Hz, two tops a cycle, 50 ms
    assert rest == "flat tops in 10 s, ceiling \u22126.0 dBFS"


@pytest.mark.parametrize(("samples", "is_clipped"), [(7, False), (8, True), (20, True)])
def test_one_long_flat_run_is_evidence_alone(samples: int, is_clipped: bool) -> None:
    """A single flat top of 8 samples at full scale is clipping, one of 7 is not (CONTRACT.md)."""
    x = noise(-40.0, 3.0, RATE)
    x[RATE : RATE + samples] = 1.0
    assert (State.ACTIVE in clipped(x).states) == is_clipped


@pytest.mark.parametrize(("times_s", "red"), [((1.2, 5.2, 10.7), True), ((0.2, 5.2, 11.4), False)])
def test_three_seconds_of_the_last_ten_may_be_red(times_s: tuple[float, ...], red: bool) -> None:
    """Flat tops that lie more than eleven seconds back count no more (CONTRACT.md)."""
    x = noise(-40.0, 12.0, RATE)
    for at_s in times_s:
        x[round(at_s * RATE) :][:20] = 1.0
    assert clipped(x).may_be_red is red


@pytest.mark.parametrize("share", [0.5, 0.01])
def test_the_height_of_the_other_side_does_not_matter(share: float) -> None:
    """Flat tops above are told, and round ones not, however little there is below."""
    flat, round_ = overload(0.9), sine(-3.0, 2.0, RATE, hz=997.0)
    for x in (flat, round_):
        x[x < 0] *= np.float32(share)
    assert State.ACTIVE in clipped(flat).states
    assert State.ACTIVE not in clipped(round_).states
    assert State.ACTIVE in clipped(-flat).states
    assert State.ACTIVE not in clipped(-round_).states


def test_the_line_says_the_same_behind_a_resampler() -> None:
    """Cut tops of both sides are counted, and their ceiling is that of the overload."""
    x, rate = stepped(overload(0.5, drive_db=9.0, first_s=1.0, last_s=1.1), "44.1 kHz")
    where = scene(rate_hz=rate)
    detector = Clipped(where)
    told(detector, x, where)
    number, rest = detector.detail(0).split(" ", 1)
    assert 70 <= int(number) <= 92  # 440 Hz, two tops a cycle, 100 ms: 88
    ceiling_dbfs = float(rest.split()[-2].replace("\u2212", "-"))
    assert ceiling_dbfs == pytest.approx(-6.0, abs=1.0)


@pytest.mark.parametrize(("periods", "is_clipped"), [(3, False), (600, True)])
def test_round_tops_as_high_speak_against_a_ceiling(periods: int, is_clipped: bool) -> None:
    """A ceiling cuts all that reach it: three periods among hundreds of round ones are none."""
    x = sine(-12.0, 3.0, RATE, hz=1011.0)
    x[RATE:] *= np.float32(2.0)
    top = np.float32(x.max())
    span = slice(2 * RATE, 2 * RATE + periods * RATE // 1011)
    x[span] = np.clip(1.15 * x[span], -top, top)
    y, rate = stepped(x, "44.1 kHz")
    assert (State.ACTIVE in clipped(y, scene(rate_hz=rate)).states) is is_clipped


@pytest.mark.parametrize("rate_hz", [48_000, 96_000, 192_000])
@pytest.mark.parametrize(("flat", "is_cut"), [(6.0, False), (10.0, True)])
def test_two_cut_tops_prove_an_overload_by_their_length_in_time(
    rate_hz: int, flat: float, is_cut: bool
) -> None:
    """Trapezoids 50 ms apart, flat for so many samples at 48 kHz, between the samples of any rate
    and behind a resampler: so short a pair is chance, as high as the rate may be."""
    fine = 4 * rate_hz
    x = noise(-75.0, 3.0, fine)[:, 0].astype(np.float64)
    flank = np.linspace(0.0, 0.3, 20 * fine // 48_000)
    top = np.concatenate([flank, np.full(round(flat * fine / 48_000), 0.3), flank[::-1]])
    for first in (round(1.5 * fine), round(1.5507 * fine) + 7):
        x[first : first + len(top)] += top
    where = scene(1, rate_hz)
    sound = resample_poly(x, 1, 4)[:, np.newaxis].astype(np.float32)
    assert bool(told(Clipped(where), sound, where).spans_s) is is_cut


@pytest.mark.parametrize(("over_db", "is_clipped"), [(0.3, False), (3.0, True)])
def test_what_no_ear_hears_is_not_told(over_db: float, is_clipped: bool) -> None:
    """A voice whose gain brings its peaks 0.3 dB over full scale has flat tops of 3 to 7 samples,
    and loses a thousandth of its sound; 3 dB over is heard."""
    x = voice(3.0) * np.float32(10 ** (over_db / 20))
    x[:RATE] *= np.float32(0.5)
    flat = np.abs(np.clip(x, -1.0, 1.0 - 2.0**-23)) >= 1.0 - 2.0**-22
    edges = np.flatnonzero(np.diff(flat[:, 0].astype(np.int8)))
    assert np.count_nonzero(np.diff(edges)[::2] >= 3) >= 3
    assert (State.ACTIVE in clipped(quantised(x, 24)).states) is is_clipped


@pytest.mark.parametrize("peak_dbfs", [-38.0, -50.0])
def test_a_quiet_pack_is_told(peak_dbfs: float) -> None:
    """A pack that overloads before a quiet analogue output is told, however low its ceiling; the
    same voice below it is not."""
    for ceiling, is_clipped in ((0.4, True), (2.0, False)):
        x = voice(3.0)
        x[:RATE] *= np.float32(0.3)
        y, rate = stepped(np.clip(x, -ceiling, ceiling), "analogue")
        y *= np.float32(10 ** (peak_dbfs / 20) / np.abs(y).max())
        y += noise(-104.0, len(y) / rate, rate)
        assert (State.ACTIVE in clipped(quantised(y, 24)).states) is is_clipped


@pytest.mark.parametrize("bits", [16, 24])
def test_a_contact_that_bounces_is_no_overload(bits: int) -> None:
    """It opens for some milliseconds, in which the bias behind it creeps back, and bounces as it
    closes: what lies there stands still, but at another height each time. So it would at one."""
    rng = np.random.default_rng(7)
    x = np.asarray(noise(-58.0, 12.0, RATE), dtype=np.float64)[:, 0]
    for at in range(round(0.5 * RATE), len(x) - RATE, round(0.7 * RATE)):
        opened, bounces = rng.integers(50, 900), rng.integers(8, 25)
        bias = rng.choice([-1.0, 1.0]) * rng.uniform(0.05, 0.2)
        creeps = bias * np.exp(-np.arange(opened) / (0.03 * RATE))
        x[at : at + opened] = creeps
        open_again = np.repeat(rng.random(bounces) < 0.5, 4)
        span = slice(at + opened, at + opened + len(open_again))
        x[span] = np.where(open_again, creeps[-1], x[span])
    assert State.ACTIVE not in clipped(quantised(x[:, np.newaxis], bits)).states


@pytest.mark.parametrize("hz", [200.0, 1000.0, 2500.0])
def test_all_but_a_square_is_told(hz: float) -> None:
    """Driven 40 dB over, a tone goes from ceiling to ceiling in a sample, and is still clipped."""
    x = np.clip(sine(40.0, 3.0, RATE, hz=hz), -0.5, 0.5)
    assert State.ACTIVE in clipped(np.asarray(x, dtype=np.float32)).states
