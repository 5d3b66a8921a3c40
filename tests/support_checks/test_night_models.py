"""The models of the night's benchmark obey their own physics: levels, spectra, lags."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from tests.benchmarks.night import (
    harmful_classic,
    harmful_link,
    harmful_patch,
    harmless_inputs,
    harmless_place,
    rig,
    run,
)
from tests.benchmarks.night.cases import CASES, Case
from tests.benchmarks.night.scenes import INPUTS, SPARE, Take, plan_text
from tests.benchmarks.night.score import Result, score
from tests.benchmarks.night.sounds import (
    Audio,
    a_weighting,
    delayed,
    fading,
    level_of,
    shaped,
    tone,
    white,
)
from tests.benchmarks.night.truth import Truth, audible
from tests.benchmarks.night.voices import RATE, synthetic

MODELS = (harmless_inputs, harmless_place, harmful_link, harmful_patch, harmful_classic)


def rng() -> np.random.Generator:
    """The same numbers for each test."""
    return np.random.default_rng(5)


@pytest.fixture
def take() -> Take:
    """Nine seconds of noise at -60 dBFS with a made voice of performer 0 on every mic."""
    frames = 9 * RATE
    drawn = rng()
    said = np.zeros((frames, len(INPUTS)), dtype=np.float32, order="F")
    said[:, :10] = synthetic(drawn).turn(frames, drawn)[:, None]
    floor = np.stack([white(frames, drawn, -60.0) for _ in INPUTS], axis=1)
    return Take(RATE, said + floor, said, floor, said[:, :4], np.ones(12, dtype=np.float32), 3.0)


def band_level(sound: Audio, low_hz: float, high_hz: float) -> float:
    """dB of the power between two frequencies, mean of the bins."""
    power = np.abs(np.fft.rfft(sound)) ** 2
    hz = np.fft.rfftfreq(len(sound), 1.0 / RATE)
    return float(10.0 * np.log10(np.mean(power[(hz >= low_hz) & (hz < high_hz)])))


def lag_of(later: Audio, earlier: Audio) -> int:
    """Frames by which one sound follows the other: the peak of the cross-correlation."""
    size = 2 * len(later)
    product = np.fft.rfft(later, size) * np.conj(np.fft.rfft(earlier, size))
    lag = int(np.argmax(np.fft.irfft(product)))
    return lag if lag < len(later) else lag - size


@pytest.mark.parametrize("level", [-90.0, -20.0])
def test_levels_are_aes17(level: float) -> None:
    """A tone and noise have the level that was asked for, by which a full-scale sine is 0 dBFS."""
    assert level_of(tone(RATE, RATE, 997.0, level)) == pytest.approx(level, abs=0.01)
    assert level_of(white(RATE, rng(), level)) == pytest.approx(level, abs=0.1)
    assert np.abs(tone(RATE, RATE, 1000.0, 0.0)).max() == pytest.approx(1.0, abs=1e-3)


def test_a_weighting_at_its_tabled_frequencies() -> None:
    """Nominal weights of IEC 61672-1 as public tables have them: 100 Hz -19.1, 10 kHz -2.5 dB."""
    db = 20.0 * np.log10(a_weighting(np.array([100.0, 1000.0, 10000.0])))
    assert db == pytest.approx([-19.1, 0.0, -2.5], abs=0.1)


def test_noise_of_a_link() -> None:
    """With a weak carrier the power grows with f² (6 dB an octave) below the de-emphasis at
    3.2 kHz and is flat above it; with no carrier it is flat below and falls above."""
    weak = shaped(8 * RATE, RATE, harmful_link.weak_carrier, rng(), -30.0)
    open_noise = shaped(8 * RATE, RATE, harmful_link.open_squelch, rng(), -30.0)
    assert band_level(weak, 450, 550) - band_level(weak, 225, 275) == pytest.approx(6.0, abs=0.7)
    assert abs(band_level(weak, 7600, 8400) - band_level(weak, 9600, 10400)) < 1.0
    assert abs(band_level(open_noise, 450, 550) - band_level(open_noise, 225, 275)) < 0.7
    assert band_level(open_noise, 4600, 5400) - band_level(open_noise, 9500, 10500) > 4.0


def test_fading_is_rayleigh() -> None:
    """The envelope has mean power 1 and falls 10 dB under it a tenth of the time."""
    path = fading(100 * RATE, RATE, 5.0, rng())
    assert float(np.mean(path**2)) == pytest.approx(1.0, abs=0.15)
    assert float(np.mean(path**2 < 0.1)) == pytest.approx(1.0 - np.exp(-0.1), abs=0.04)


@pytest.mark.parametrize("lag", [0.0, 1.0, 3.0, 7.5])
def test_delays_are_exact(lag: float) -> None:
    """A delay of any number of frames moves the cross-correlation's peak by that."""
    sound = shaped(RATE, RATE, harmful_link.open_squelch, rng(), -20.0)
    assert lag_of(delayed(sound, lag), sound) == pytest.approx(lag, abs=0.5)


@pytest.mark.parametrize("bits", [16, 24])
def test_dither_error(bits: int) -> None:
    """The total error of TPDF dither has the power LSB²/4, whatever the signal."""
    sound = tone(4 * RATE, RATE, 440.0, -40.0)[:, None]
    error = (rig.dithered(sound, rng(), bits) - sound) * 2.0 ** (bits - 1)
    if bits == 16:  # float32 itself rounds at 24 bits
        assert float(np.mean(error**2)) == pytest.approx(0.25, abs=0.01)
    assert float(np.abs(error).max()) <= 1.51


@pytest.mark.parametrize("rate", [44100, 48000, 96000])
def test_resampling_keeps_pitch_and_level(rate: int) -> None:
    """A tone is the same tone at another rate, and as long."""
    out, made = rig.to_rate(rate)(tone(4 * RATE, RATE, 1000.0, -20.0)[:, None], RATE, rng())
    assert made == rate
    assert len(out) == pytest.approx(4 * rate, abs=2)
    middle = out[rate : 3 * rate, 0]
    assert level_of(middle) == pytest.approx(-20.0, abs=0.05)
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    assert float(np.argmax(spectrum)) / 2.0 == pytest.approx(1000.0, abs=0.5)


def test_asynchronous_converter_leaves_no_sample() -> None:
    """After an asynchronous converter equal flat tops are equal no more."""
    flat = np.clip(tone(4 * RATE, RATE, 500.0, 0.0)[:, None], -0.3, 0.3)
    out = rig.asynchronous(flat, rng())
    assert len(out) != len(flat)
    assert np.mean(np.diff(flat[:, 0]) == 0.0) > 0.5
    assert np.mean(np.diff(out[:, 0]) == 0.0) < 0.01


def test_limiter_holds_its_ceiling() -> None:
    """No peak passes the ceiling; what lies far below it is left alone."""
    sound = np.stack([tone(RATE, RATE, 300.0, 0.0), tone(RATE, RATE, 300.0, -20.0)], axis=1)
    out = rig.limited(sound, RATE, -6.0)
    assert np.abs(out[:, 0]).max() <= 10.0 ** (-6.0 / 20.0) + 1e-3
    assert np.array_equal(out[:, 1], sound[:, 1])


def test_stuck_buffer_repeats_bit_for_bit(take: Take) -> None:
    """From the onset on each buffer equals the one before it."""
    CASES["stuck_10ms"].model(take, rng())
    stuck = take.audio[take.span(6.0), harmful_patch.LONELY]
    assert np.array_equal(stuck[480:], stuck[:-480])


@pytest.mark.parametrize(("name", "frames"), [("slip_64_lost", 64), ("slip_64_twice", -64)])
def test_clock_slips(take: Take, name: str, frames: int) -> None:
    """After one second of slips each track is that many frames ahead of itself."""
    before = take.audio.copy()
    CASES[name].model(take, rng())
    piece = slice(take.frame(3.2), take.frame(3.8))
    assert lag_of(before[piece, 3], take.audio[piece, 3]) == frames


def test_copies_and_swaps(take: Take) -> None:
    """A copy follows its original by its lag; swapped mains carry each other's samples."""
    before = take.audio.copy()
    CASES["swapped_mains"].model(take, rng())
    assert np.array_equal(take.audio[take.span(6.0), 0], before[take.span(6.0), 2])
    CASES["copied_3"].model(take, rng())
    piece = slice(take.frame(5.0), take.frame(7.0))
    assert lag_of(take.audio[piece, 6], take.audio[piece, 4]) == 3
    CASES["floor_copied"].model(take, rng())
    assert np.array_equal(take.audio[piece, SPARE], take.audio[piece, 9])


@pytest.mark.parametrize("over_db", [3, 6, 12])
def test_overload_passes_the_top_by_what_it_says(take: Take, over_db: int) -> None:
    """The voice's peaks are cut at one ceiling in the span and pass none outside it."""
    take.audio[:] *= np.float32(0.2)
    CASES[f"clip_{over_db}_analogue"].model(take, rng())
    part = take.span(30.0)
    top = float(np.abs(take.audio[part, 0]).max())
    assert np.sum(np.abs(take.audio[part, 0]) == np.float32(top)) > 20
    assert np.abs(take.audio[: part.start - 4800, 0]).max() < top
    healthy = take.speech[part, 0] + take.floor[part, 0]
    assert harmful_link.ceiling_of(healthy, over_db) == pytest.approx(top, rel=0.01)


def test_receiver_muted_behind_outputs(take: Take) -> None:
    """What is left is white noise at the converter's level."""
    CASES["receiver_mute_98"].model(take, rng())
    left = take.audio[take.span(5.0), harmful_link.LONELY]
    assert level_of(left) == pytest.approx(-98.0, abs=0.2)
    assert abs(band_level(left, 100, 1000) - band_level(left, 10000, 20000)) < 0.5


def test_healthy_stays_below_full_scale(take: Take) -> None:
    """Blows and wind never pass full scale, for what passes it is clipped."""
    for name in ("body_hits", "wind_on_main"):
        CASES[name].model(take, rng())
        assert np.abs(take.audio[:, :2]).max() < 1.0


def test_every_case_changes_the_take(take: Take) -> None:
    """Each model changes its tracks and no other, from its onset on, and gives no bad sample."""
    for name in run.select("", False, 0):
        case = CASES[name]
        fresh = replace(take, audio=take.audio.copy(), speech=take.speech.copy())
        fresh.floor = take.floor.copy()
        span = case.model(fresh, rng())
        changed = np.flatnonzero(np.any(fresh.audio != take.audio, axis=0))
        assert np.all(np.isfinite(fresh.audio)), case.name
        assert len(changed), case.name
        if case.harmless or name.startswith(("clip", "soft", "low", "receiver_goes_w", "floor")):
            continue  # these shape more than their span, or more than their tracks
        early = fresh.audio[: take.frame(span.onset_s) - RATE // 10]
        assert np.array_equal(early, take.audio[: len(early)]), name
        assert set(changed.tolist()) <= set(span.tracks), name


def test_rule_of_what_is_heard() -> None:
    """A change far under the background or under the voice is not heard; one as loud is."""
    healthy = white(2 * RATE, rng(), -60.0)
    drawn = np.random.default_rng(6)
    assert audible(healthy, healthy + white(2 * RATE, drawn, -60.0), RATE).mean() > 0.9
    assert audible(healthy, healthy + white(2 * RATE, drawn, -80.0), RATE).mean() < 0.01
    loud = tone(2 * RATE, RATE, 1000.0, -10.0)
    loud[: RATE // 2] *= 0.001  # a pause, in which the background lies
    voiced = slice(30, 100)
    assert not audible(loud, loud + white(2 * RATE, drawn, -60.0), RATE)[voiced].any()
    assert audible(loud, np.clip(loud, -0.2, 0.2), RATE)[voiced].all()


def alarm(track: int, fault: str, amber_s: float) -> dict[str, object]:
    """An incident as the program's JSON has it."""
    return {
        "track": track,
        "fault": fault,
        "severity": "amber",
        "onset_s": amber_s - 0.3,
        "amber_s": amber_s,
        "red_s": None,
        "end_s": None,
    }


def test_scoring() -> None:
    """A fitting word in time is found; late is late; another word is beside; elsewhere is false."""
    case = Case("x", CASES["hum_50"].model, frozenset({"hum"}), 3.0)
    truth = Truth((6,), 20.0, 30.0, 20.0, 23.0, None)

    def scored(*alarms: dict[str, object]) -> Result:
        empty = Result("x", 1, "direct", False)
        return score(case, truth, {"incidents": list(alarms)}, empty, 60.0)

    assert scored(alarm(7, "hum", 22.0)).in_time
    late = scored(alarm(7, "hum", 24.0))
    assert (late.detected, late.in_time) == (True, False)
    assert not scored(alarm(3, "hum", 22.0)).detected
    assert len(scored(alarm(7, "low", 22.0)).beside) == 1
    assert len(scored(alarm(3, "hum", 5.0)).false) == 1


def test_short_runs_take_each_family_in_turn() -> None:
    """Over as many seeds as the largest family has members, every case comes."""
    largest = Counter(case.family for case in CASES.values() if case.family).most_common(1)[0][1]
    chosen = {name for seed in range(largest) for name in run.select("", False, seed)}
    assert chosen == set(CASES)
    assert len(run.select("", False, 0)) < len(CASES)
    assert run.select("none", False, 0) == []


def test_plan_names_every_input() -> None:
    """The plan has one table for each input."""
    assert plan_text().count("[[track]]") == len(INPUTS)
