"""Noise: a link's noise that stays. Deadlines as in CONTRACT.md.

What a receiver's noise looks like: triangular after the discriminator, level from 3 kHz on after
50 us of de-emphasis (ITU-R BS.450-3); flutter by Rayleigh fading (a complex Gaussian gain).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.detectors.noise import Noise
from engine.model.messages import Kind, PackLevel, Samples
from engine.model.tracks import Scene, Track
from tests.support.signals import noise, scene
from tests.support.watching import Told, told

RATE = 48_000
FOUR = scene(4, RATE)
SECONDS = 40.0
AT_S = 20.0


def falling(level_dbfs: float, seconds: float, seed: int, tracks: int = 1) -> Samples:
    """Noise that falls by 6 dB an octave from 80 Hz on: a place."""
    frames = round(seconds * RATE)
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal((frames, tracks)), axis=0)
    hz = np.fft.rfftfreq(frames, 1.0 / RATE)[:, None]
    x = np.fft.irfft(spectrum / np.maximum(hz, 80.0), n=frames, axis=0)
    return (x / x.std(axis=0) * 10 ** (level_dbfs / 20) / np.sqrt(2)).astype(np.float32)


def place(seconds: float = SECONDS) -> Samples:
    """Four tracks of a place at -56 dBFS, with syllables at -24 dBFS in the first."""
    x = falling(-56.0, seconds, 1, 4)
    words = np.random.default_rng(2).random(round(seconds)) < 0.7
    syllables = np.clip(np.sin(2.0 * np.pi * 3.7 * np.arange(len(x)) / RATE), 0.0, None)
    x[:, 0] += falling(-24.0, seconds, 3)[:, 0] * syllables * np.repeat(words, RATE)
    return x


def hiss(level_dbfs: float, seconds: float, seed: int = 5) -> np.ndarray:
    """A receiver's noise after de-emphasis, up to 15 kHz."""
    frames = round(seconds * RATE)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames))
    hz = np.fft.rfftfreq(frames, 1.0 / RATE)
    spectrum *= hz / np.sqrt(1.0 + (hz / 3183.0) ** 2) * (hz < 15_000.0)
    x = np.fft.irfft(spectrum, n=frames)
    return np.asarray(x / x.std() * 10 ** (level_dbfs / 20) / np.sqrt(2))


def said_of(x: Samples, track: int = 0) -> Told:
    """What is said of one track."""
    return told(Noise(FOUR), x, FOUR, track)


@pytest.mark.parametrize("level_dbfs", [-45.0, -35.0, -20.0, -10.0])
def test_noise_that_stays_is_told_before_its_deadline(level_dbfs: float) -> None:
    """Within 5 s of its begin, with the right begin; it lasts until the noise ends."""
    x = place()
    noisy = slice(round(AT_S * RATE), round(32.0 * RATE))
    x[noisy, 0] += hiss(level_dbfs, 12.0)
    said = said_of(x)
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(AT_S, abs=0.5)
    assert last_s == pytest.approx(32.0, abs=1.1)
    first = next(n for n, state in enumerate(said.states) if state > 0)
    assert 0.1 * (first + 1) <= AT_S + 5.0
    assert said.may_be_red is (level_dbfs > -40.0)  # the syllables have -29 dBFS RMS


def test_a_growing_hiss_with_flutter_is_told() -> None:
    """Range: hiss that grows from -75 to -40 dBFS, its strength fading as a radio field does."""
    x = place(60.0)
    frames = 40 * RATE
    rng = np.random.default_rng(8)
    points = rng.standard_normal((2, 400))
    field = np.hypot(*(np.interp(np.arange(frames), np.arange(400) * RATE / 10, p) for p in points))
    gain = 10 ** (np.linspace(-75.0, -40.0, frames) / 20) * np.clip(field, 0.4, 2.0)
    x[20 * RATE :, 0] += hiss(3.0, 40.0) * gain
    assert said_of(x).spans_s


def test_hiss_that_creeps_in_under_words_is_told_before_it_is_loud() -> None:
    """It grows by 1 dB a second, no faster than a floor is learned from pauses that are full of
    words: told before it stands 8 dB over all of the place."""
    x = place(60.0)
    x[:, 0] += falling(-26.0, 60.0, 11)[:, 0] * (np.sin(np.arange(len(x)) / RATE) > -0.7)
    frames = 45 * RATE
    x[15 * RATE :, 0] += hiss(0.0, 45.0) * 10 ** (np.linspace(-80.0, -35.0, frames) / 20)
    first = next(n for n, state in enumerate(said_of(x).states) if state > 0)
    assert 35.0 <= 0.1 * (first + 1) <= 15.0 + 32.0


def test_a_gain_that_is_raised_adds_no_noise() -> None:
    """By 10 dB, the mic's own noise with the rest."""
    x = place() + noise(-75.0, SECONDS, RATE, seed=12, tracks=4)
    x[round(AT_S * RATE) :, 0] *= 10 ** (10.0 / 20)
    assert not said_of(x).spans_s


@pytest.mark.parametrize("cut_hz", [80.0, 400.0])
def test_a_louder_place_is_no_noise(cut_hz: float) -> None:
    """An engine or air handling that starts, 20 dB over the floor, falls with frequency."""
    x = place()
    x[round(AT_S * RATE) :, 0] += falling(-36.0, SECONDS - AT_S, 9)[:, 0] * (cut_hz / 80.0) ** 0.1
    assert not said_of(x).spans_s


def test_rain_on_every_track_is_the_place() -> None:
    """White, steady and loud, but on all tracks at once."""
    x = place()
    x[round(AT_S * RATE) :] += noise(-38.0, SECONDS - AT_S, RATE, seed=4, tracks=4)
    assert not any(said_of(x, track).spans_s for track in range(4))


def test_talk_on_the_other_tracks_is_no_end_of_it() -> None:
    """Hiss 20 dB over one floor lasts while voices raise the treble of all others by 9 dB."""
    x = place()
    x[round(AT_S * RATE) :, 0] += hiss(-36.0, SECONDS - AT_S)
    talk = slice(28 * RATE, 36 * RATE)
    x[talk, 1:] += falling(-47.0, 8.0, 7, 3)
    ((onset_s, last_s),) = said_of(x).spans_s
    assert onset_s == pytest.approx(AT_S, abs=0.5)
    assert last_s == pytest.approx(SECONDS, abs=0.2)


def test_talk_of_a_pair_beside_it_keeps_back_no_alarm() -> None:
    """Words that leave no pause for as long fill the quiet moments of both packs, by their gains
    and far less than an open squelch fills those of another: no place that all hear."""
    packs = (
        Track(1, who="farrier", level=PackLevel.MAIN),
        Track(2, who="farrier", level=PackLevel.SAFETY),
        *(Track(n, who=f"one {n}") for n in range(3, 7)),
    )
    where = Scene(packs, RATE)
    x = falling(-60.0, 32.0, 1, 6)
    seconds = np.arange(len(x)) / RATE
    syllables = np.clip(np.sin(23.2 * seconds), 0.0, None) * (seconds > 3.0) * (seconds < 11.0)
    breathless = 0.2 * 10 ** (0.5 * np.sin(23.2 * seconds)) * (seconds > AT_S)
    words = falling(-24.0, 32.0, 3)[:, 0] * (syllables + breathless)
    x[:, 0] += words
    x[:, 1] += 0.4 * words
    x[round(AT_S * RATE) :, 5] += hiss(-16.0, 12.0)
    said = told(Noise(where), x, where, 5)
    ((onset_s, _),) = said.spans_s
    assert onset_s == pytest.approx(AT_S, abs=0.5)
    assert 0.1 * next(n for n, state in enumerate(said.states) if state > 0) <= AT_S + 5.0


def test_cloth_that_rubs_comes_and_goes() -> None:
    """Nylon, white up to 20 kHz, in strokes of a third of a second: no standing noise."""
    x = place()
    rub = noise(-30.0, SECONDS, RATE, seed=6)[:, 0]
    strokes = np.clip(np.sin(2 * np.pi * 1.4 * np.arange(len(x)) / RATE), 0.0, None)
    x[:, 0] += np.where(np.arange(len(x)) > AT_S * RATE, rub * strokes, 0.0)
    assert not said_of(x).spans_s


@pytest.mark.parametrize("seed", range(3))
def test_a_pack_that_is_put_on_is_no_noise(seed: int) -> None:
    """Cloth and cable rub for eight seconds, up to 16 kHz and without a pause: each stroke swells
    and fades within a fifth of a second."""
    rng = np.random.default_rng(seed)
    x = place()
    rubbing = slice(round(AT_S * RATE), round((AT_S + 8.0) * RATE))
    frames = rubbing.stop - rubbing.start
    strokes = sosfilt(butter(2, 8.0, fs=RATE, output="sos"), rng.standard_normal(frames))
    swelling = 10.0 ** (6.0 * strokes / strokes.std() / 20.0)
    x[rubbing, 0] += hiss(-38.0, 8.0, seed) * swelling
    assert said_of(x).spans_s == []


@pytest.mark.parametrize(("behind_gains", "said"), [(True, True), (False, False)])
def test_what_is_as_loud_on_all_came_in_behind_the_gains(behind_gains: bool, said: bool) -> None:
    """Hiss at -36 dBFS on all, whose gains and so floors differ by 10 dB, is no rain; rain has the
    gains too."""
    gains = 10 ** (np.array([0.0, -10.0, 0.0, -10.0]) / 20).astype(np.float32)
    x = place() * gains
    for track in range(4):
        gain = 1.0 if behind_gains else gains[track]
        x[round(AT_S * RATE) :, track] += gain * hiss(-36.0, SECONDS - AT_S, track)
    heard = [told(Noise(FOUR), x, FOUR, track) for track in range(1, 4)]
    assert all(bool(one.spans_s) is said for one in heard)


@pytest.mark.parametrize("hiss_dbfs", [-34.0, -14.0])
@pytest.mark.parametrize(("behind_gains", "said"), [(True, True), (False, False)])
def test_water_that_both_packs_of_one_performer_hear_is_no_link(
    behind_gains: bool, said: bool, hiss_dbfs: float
) -> None:
    """Two packs 14 dB apart and two far mics: at a fountain both packs have water by their gains;
    out of range their links hiss, 3 dB apart, as loud as any voice with an open squelch."""
    pair = (
        Track(1, who="rigger", level=PackLevel.MAIN),
        Track(2, who="rigger", level=PackLevel.SAFETY),
        Track(3, kind=Kind.BOOM),
        Track(4, kind=Kind.AMBIENCE),
    )
    where = Scene(pair, RATE)
    x = place()
    x[:, 1] = 0.2 * (x[:, 0] + falling(-56.0, SECONDS, 8)[:, 0])
    for track, gain in ((0, 1.0), (1, 0.7 if behind_gains else 0.2)):
        x[round(AT_S * RATE) :, track] += gain * hiss(hiss_dbfs, SECONDS - AT_S, track)
    heard = [told(Noise(where), x, where, track) for track in range(2)]
    assert all(bool(one.spans_s) is said for one in heard)


@pytest.mark.parametrize(("behind_gains", "said"), [(True, True), (False, False)])
def test_an_engine_beside_all_mics_is_heard_by_the_gains_of_a_pair(
    behind_gains: bool, said: bool
) -> None:
    """A saw as loud on two performers and a boom, whose quiet differed; the safeties have 8 dB less
    of it, before anybody spoke. What is as loud on all is a unit's hiss."""
    packs = tuple(
        Track(n, who=f"hauler {n // 3}", level=level)
        for n, level in enumerate((PackLevel.MAIN, PackLevel.SAFETY) * 2, start=1)
    )
    where = Scene((*packs, Track(5, kind=Kind.BOOM)), RATE)
    gains = 10 ** (np.array([0.0, -8.0, 0.0, -8.0, 0.0]) / 20).astype(np.float32)
    quiet_dbfs = np.array([-68.0, -72.0, -46.0, -56.0, -36.0])
    x = falling(0.0, 30.0, 1, 5) * 10 ** (quiet_dbfs / 20).astype(np.float32)
    for track in range(5):
        gain = 1.0 if behind_gains else gains[track]
        x[round(AT_S * RATE) :, track] += gain * hiss(-26.0, 10.0, track)
    heard = [told(Noise(where), x, where, track) for track in range(5)]
    assert any(bool(one.spans_s) for one in heard) is said


@pytest.mark.parametrize("emphasis_us", [50.0, 75.0])
def test_an_open_squelch_that_stays_is_dated_from_its_begin(emphasis_us: float) -> None:
    """Level noise to 15 kHz after de-emphasis (ITU-R BS.450-3) at -12 and -30 dBFS."""
    for level_dbfs in (-12.0, -30.0):
        x = place()
        frames = round(12.0 * RATE)
        spectrum = np.fft.rfft(np.random.default_rng(4).standard_normal(frames))
        hz = np.fft.rfftfreq(frames, 1.0 / RATE)
        spectrum *= (hz < 15_000.0) / np.hypot(1.0, 2.0 * np.pi * hz * 1e-6 * emphasis_us)
        heard = np.fft.irfft(spectrum, n=frames)
        heard *= 10 ** (level_dbfs / 20) / np.sqrt(2) / heard.std()
        x[round(AT_S * RATE) :][:frames, 0] += heard
        ((onset_s, _),) = said_of(x).spans_s
        assert onset_s == pytest.approx(AT_S, abs=0.5)


def test_a_stuck_buffer_is_no_noise() -> None:
    """21 ms of a bright sound, played again and again for 8 s, leave no pause; `stuck` tells it."""
    x = place()
    first, frames = round(AT_S * RATE), round(0.021 * RATE)
    x[first : first + 8 * RATE, 0] = np.resize(hiss(-30.0, 0.021), 8 * RATE)
    x[first - frames : first, 0] = x[first : first + frames, 0]
    assert not said_of(x).spans_s


def test_three_of_four_show_that_it_came_in_behind_the_gains() -> None:
    """Hiss as loud on the three tracks of one unit, whose floors differ by 10 dB, is no rain."""
    gains = 10 ** (np.array([0.0, -10.0, 0.0, -10.0]) / 20).astype(np.float32)
    x = place() * gains
    for track in range(3):
        x[round(AT_S * RATE) :, track] += hiss(-36.0, SECONDS - AT_S, track)
    assert all(told(Noise(FOUR), x, FOUR, track).spans_s for track in (1, 2))


@pytest.mark.parametrize(("turned", "said"), [(True, False), (False, True)])
def test_a_gain_that_moves_the_voice_as_well_is_no_noise(turned: bool, said: bool) -> None:
    """A pack that hisses, in lively talk on all: up by 12 dB, or hiss alone that rises as far."""
    x = place(34.0)
    for track in (1, 2, 3):
        x[:, track] += np.roll(x[:, 0], track * RATE // 3)
    x[:, 0] += hiss(-60.0, 34.0)
    after = slice(round(AT_S * RATE), None)
    if turned:
        x[after, 0] *= np.float32(4.0)
    else:
        x[after, 0] += hiss(-48.0, 14.0, seed=6)
    assert bool(said_of(x).spans_s) is said
