"""Noise burst: broadband noise of the radio link. Numbers of bursts as in CONTRACT.md.

Clicks and Gaussian noise as the model of FM under its threshold: S. O. Rice, "Noise in FM
receivers", 1963, as I. Bar-David and S. Shamai review it (IEEE Trans. Inform. Theory, 1988,
abstract); the original was not read.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.detectors.noise_burst import NoiseBurst
from engine.model.messages import Samples, State
from engine.model.tracks import Scene
from tests.support import harmless_work as work
from tests.support.harmless_sound import Wave, at_level, band, friction, impacts
from tests.support.signals import noise, scene
from tests.support.watching import Told, told

RATE = 48_000


def room(seconds: float = 8.0, tracks: int = 1) -> Samples:
    """A place whose sound falls with frequency, at about -50 dBFS."""
    sos = butter(1, 500.0, fs=RATE, output="sos")
    return np.asarray(sosfilt(sos, noise(-36.0, seconds, RATE, tracks=tracks), axis=0), np.float32)


def put(x: Samples, burst: Samples, at_s: float, place: int = 0) -> Samples:
    """The burst in the place of what was there."""
    first = round(at_s * RATE)
    x[first : first + len(burst), place] = burst[:, 0]
    return x


def told_of(samples: Samples, where: Scene | None = None) -> Told:
    """What is said of the first track."""
    where = where or scene(samples.shape[1])
    return told(NoiseBurst(where), samples, where)


def rising(level_dbfs: float, seconds: float) -> Samples:
    """Noise that rises 6 dB an octave: what a discriminator makes of white noise."""
    x = np.diff(noise(0.0, seconds + 1.0 / RATE, RATE, seed=3), axis=0)
    rms = np.sqrt(2.0 * np.mean(x**2))
    return np.asarray(x * (10 ** (level_dbfs / 20) / rms), np.float32)


@pytest.mark.parametrize("length_s", [0.04, 0.15, 0.4])
@pytest.mark.parametrize("shape", ["white", "rising"])
def test_hash_is_told_within_a_second(length_s: float, shape: str) -> None:
    """White or rising noise, 30 dB over the room, is told with its onset, and is not red alone."""
    burst = noise(-20.0, length_s, RATE, seed=4) if shape == "white" else rising(-20.0, length_s)
    said = told_of(put(room(), burst, 5.0))
    assert (said.states.index(State.ACTIVE) + 1) / 10 <= 6.0
    assert said.spans_s[0][0] == pytest.approx(5.0, abs=0.02)
    assert said.spans_s[0][1] == pytest.approx(5.0 + length_s, abs=0.02)
    assert not said.may_be_red


def test_three_in_ten_seconds_may_be_red() -> None:
    """The third burst within ten seconds deserves red."""
    x = room()
    for at_s in (4.0, 5.0, 6.0):
        put(x, noise(-20.0, 0.1, RATE, seed=int(at_s)), at_s)
    said = told_of(x)
    red = [n / 10 for n, c in enumerate(said.conditions) if c.may_be_red[0]]
    assert red[0] == pytest.approx(6.1, abs=0.11)


def test_hash_after_a_sibilant_is_told() -> None:
    """A sibilant that runs into the hash is as bright, and is not what it is judged by."""
    sos = butter(4, (7000.0, 10_000.0), "bandpass", fs=RATE, output="sos")
    sibilant = np.asarray(sosfilt(sos, noise(-10.0, 0.12, RATE, seed=6), axis=0), np.float32)
    x = put(put(room(), sibilant, 4.88), noise(-20.0, 0.3, RATE, seed=4), 5.0)
    said = told_of(x)
    assert said.spans_s[0] == pytest.approx((5.0, 5.3), abs=0.15)


def test_a_clap_dies_away() -> None:
    """White noise that decays within 15 ms is a blow, not hash."""
    x = noise(-10.0, 0.2, RATE, seed=5)
    x *= np.exp(-np.arange(len(x)) / (0.015 * RATE)).astype(np.float32)[:, None]
    assert State.ACTIVE not in told_of(put(room(), x, 5.0)).states


@pytest.mark.parametrize("band_hz", [(4000.0, 9000.0), (6000.0, 12_000.0)])
def test_a_sibilant_is_a_hill(band_hz: tuple[float, float]) -> None:
    """A band of noise as in an "s" is no hash."""
    sos = butter(4, band_hz, "bandpass", fs=RATE, output="sos")
    x = np.asarray(sosfilt(sos, noise(-15.0, 0.15, RATE, seed=6), axis=0), np.float32)
    assert State.ACTIVE not in told_of(put(room(), x, 5.0)).states


@pytest.mark.parametrize(("corner_hz", "swell_s"), [(80.0, 0.0), (1000.0, 0.0), (4000.0, 0.05)])
def test_wind_cloth_and_surf_fall(corner_hz: float, swell_s: float) -> None:
    """Gusts and rustles, noise that falls above some frequency, are no hash; one from 4 kHz on is
    that of an open squelch but for its swell."""
    sos = butter(1, corner_hz, fs=RATE, output="sos")
    x = np.asarray(sosfilt(sos, noise(-10.0, 0.3, RATE, seed=7), axis=0), np.float32)
    swell = 0.5 - 0.5 * np.cos(np.pi * np.linspace(0.0, 1.0, round(swell_s * RATE)))
    x[: len(swell)] *= swell[:, None].astype(np.float32)
    assert State.ACTIVE not in told_of(put(room(), x, 5.0)).states


@pytest.mark.parametrize("length_s", [0.08, 0.3])
@pytest.mark.parametrize("emphasis_us", [50.0, 75.0])
def test_an_open_squelch_is_told(length_s: float, emphasis_us: float) -> None:
    """Level noise to 15 kHz after de-emphasis (ITU-R BS.450-3), -14 dBFS in the words' stead."""
    x = noise(0.0, length_s, RATE, seed=9)[:, 0].astype(np.float64)
    hz = np.fft.rfftfreq(len(x), 1.0 / RATE)
    gain = (hz < 15_000.0) / np.hypot(1.0, 2.0 * np.pi * hz * 1e-6 * emphasis_us)
    burst = at_level(np.fft.irfft(np.fft.rfft(x) * gain, len(x)), -14.0)[:, None]
    said = told_of(put(room(), burst.astype(np.float32), 5.0))
    assert said.spans_s[0] == pytest.approx((5.0, 5.0 + length_s), abs=0.02)


def test_what_two_tracks_hear_was_in_the_air() -> None:
    """The same white burst on two microphones, 3 ms apart, is no fault of a link."""
    burst = noise(-20.0, 0.06, RATE, seed=8)
    x = put(put(room(tracks=2), burst, 5.011), burst * np.float32(0.5), 5.014, place=1)
    assert State.ACTIVE not in told_of(x).states


def test_two_links_at_once_are_two_faults() -> None:
    """Hash of two receivers at the same moment does not match, and is told."""
    x = put(room(tracks=2), noise(-20.0, 0.06, RATE, seed=8), 5.011)
    put(x, noise(-20.0, 0.06, RATE, seed=9), 5.011, place=1)
    assert State.ACTIVE in told_of(x).states


@pytest.mark.parametrize("shape", ["white", "emphasis undone"])
def test_hash_of_a_link_that_ends_at_15_khz(shape: str) -> None:
    """FM noise through 75 us of de-emphasis and a steep low-pass at 15 kHz, as links have them."""
    burst = noise(-20.0, 0.15, RATE, seed=4) if shape == "white" else rising(-20.0, 0.15)
    if shape != "white":
        corner_hz = 1.0 / (2.0 * np.pi * 75e-6)
        burst = sosfilt(butter(1, corner_hz, fs=RATE, output="sos"), burst, axis=0)
    burst = sosfilt(butter(8, 15_000.0, fs=RATE, output="sos"), burst, axis=0)
    said = told_of(put(room(), np.asarray(burst, np.float32), 5.0))
    assert said.spans_s[0][0] == pytest.approx(5.0, abs=0.02)


def test_what_another_hears_faintly_was_in_the_air() -> None:
    """White noise 26 dB fainter on the other track, under its rumble but over its treble."""
    burst = noise(-20.0, 0.06, RATE, seed=8)
    x = room(tracks=2)
    faint = np.roll(np.pad(burst[:, 0], (240_523, len(x) - 240_523 - len(burst))), 100)
    x[:, 1] += np.float32(0.05) * faint
    assert State.ACTIVE not in told_of(put(x, burst, 240_523 / RATE)).states


def test_hash_over_a_voice_that_two_packs_hear() -> None:
    """The voice before and after a burst of 50 ms is on both tracks; the burst is on one."""
    x = room(tracks=2)
    sos = butter(1, (150.0, 3000.0), "bandpass", fs=RATE, output="sos")
    voice = np.asarray(sosfilt(sos, noise(-20.0, 8.0, RATE, seed=11), axis=0), np.float32)
    x += voice * np.float32([1.0, 0.25])
    assert State.ACTIVE in told_of(put(x, noise(-26.0, 0.05, RATE, seed=12), 5.03)).states


@pytest.mark.parametrize(
    "make",
    [
        work.hail,
        work.umbrella,
        work.crumpling,
        work.velcro,
        work.tape_off_roll,
        work.zipper,
        work.hairdryer,
        work.chain_hoist,
        work.keys,
        work.gravel,
    ],
)
def test_what_people_and_tools_do_is_no_burst(make: Callable[..., Wave]) -> None:
    """Close to one mic, -24 dBFS, and not heard by any other."""
    wave = np.concatenate([np.zeros(3 * RATE), make(9.0, np.random.default_rng(3))])
    x = room(12.0) + at_level(wave, -24.0)[:, None].astype(np.float32)
    assert State.ACTIVE not in told_of(x).states


def test_a_spray_can_is_heard_by_others() -> None:
    """A jet's hiss is as even as a link's; another mic hears it 20 dB fainter, 9 ms later."""
    wave = np.concatenate([np.zeros(3 * RATE), work.air_jet(9.0, np.random.default_rng(3))])
    near = at_level(wave, -30.0).astype(np.float32)
    x = room(12.0, tracks=2) + np.stack([near, np.float32(0.1) * np.roll(near, 430)], axis=1)
    assert State.ACTIVE not in told_of(x).states


@pytest.mark.parametrize("what", ["nylon", "drizzle", "rain", "downpour"])
def test_cloth_and_rain_are_rough(what: str) -> None:
    """Nylon on the mic, white to 20 kHz, and drops that strike it are no link's noise."""
    rng = np.random.default_rng(3)
    drops_s = {"drizzle": 30.0, "rain": 300.0, "downpour": 2000.0}
    wave = friction(12.0, rng) if what == "nylon" else impacts(12.0, drops_s[what], rng)
    wave[: 2 * RATE] = 0.0
    x = room(12.0) + at_level(wave, -32.0)[:, None].astype(np.float32)
    assert State.ACTIVE not in told_of(x).states


@pytest.mark.parametrize(("wet", "said"), [(range(1, 4), False), (range(1, 2), True)])
def test_a_smooth_moment_while_drops_fall_on_every_mic_is_no_burst(wet: range, said: bool) -> None:
    """What would be hash in the dry is two drops at once in rain; a drip on one mic is no rain."""
    rng = np.random.default_rng(9)
    x = room(8.0, 4)
    for track in wet:
        drops = at_level(impacts(8.0, 100.0, rng), -32.0)
        x[2 * RATE :, track] += drops[2 * RATE :].astype(np.float32)
    put(x, rising(-24.0, 0.05), 6.0)
    assert (State.ACTIVE in told_of(x).states) is said


@pytest.mark.parametrize("seed", [3, 5, 6])
def test_hiss_that_flutters_is_no_burst(seed: int) -> None:
    """Discriminator noise that stands under the words and goes as the inverse of a channel of many
    paths (R. H. Clarke, 1968, from memory) at a walking pace, 20 dB up in its nulls."""
    rng = np.random.default_rng(seed)
    at_s = np.arange(20 * RATE) / RATE
    sides, phases = rng.uniform(0.0, 2.0 * np.pi, (2, 16))
    waves = 2.0 * np.pi * 2.8 * np.outer(at_s, np.cos(sides)) + phases
    path = np.abs(np.exp(1j * waves).sum(axis=1)) / 4.0
    hiss = rising(-64.0, 20.0)[: len(at_s), 0] / np.maximum(path, 0.1)
    hiss *= np.clip((at_s - 4.0) / 4.0, 0.0, 1.0)
    said = told_of(room(20.0) + hiss[:, None].astype(np.float32))
    assert State.ACTIVE not in said.states


@pytest.mark.parametrize("words", [False, True])
def test_rain_that_sets_in_is_no_burst(words: bool) -> None:
    """The hiss of fine rain, white and steady, grows within 8 s; a limiter pulls it down by 15 dB
    with every word, in 2 ms, and lets it up again in 80."""
    rng = np.random.default_rng(5)
    x = room(24.0)
    hiss = at_level(rng.standard_normal(len(x)), -38.0) + at_level(
        impacts(24.0, 150.0, rng, 0.001), -42.0
    )
    at_s = np.arange(len(x)) / RATE
    x += (hiss * np.clip((at_s - 6.0) / 8.0, 0.0, 1.0))[:, None].astype(np.float32)
    if words:
        since_s = at_s % 0.7
        pulled = np.where(since_s < 0.3, 1.0, np.exp(-(since_s - 0.3) / 0.08))
        pulled = np.minimum(pulled, since_s / 0.002)
        x *= (1.0 - (1.0 - 10 ** (-15 / 20)) * pulled)[:, None].astype(np.float32)
    assert State.ACTIVE not in told_of(x).states


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("corner_hz", [3500.0, 5000.0])
def test_a_coat_put_on_is_no_burst(corner_hz: float, seed: int) -> None:
    """Cloth that rubs as loud as words, level below that corner as de-emphasis leaves a squelch,
    its force turning about with nothing at each turn, as a band of noise of 9 Hz does."""
    rng = np.random.default_rng(seed)
    turns = rng.standard_normal(9 * 18)
    force = np.abs(np.interp(np.arange(8 * RATE) / RATE * 18.0, np.arange(len(turns)), turns))
    rub = band(rng.standard_normal(len(force)), 100.0, corner_hz, order=1) * force
    x = room(12.0)
    x[3 * RATE : 11 * RATE, 0] += at_level(rub, -26.0).astype(np.float32)
    assert State.ACTIVE not in told_of(x).states


@pytest.mark.parametrize("seed", range(6))
def test_drops_on_a_coat_are_no_burst(seed: int) -> None:
    """Fourteen a second, some much heavier than others, and two at once at times."""
    rng = np.random.default_rng(seed)
    drops = np.zeros(40 * RATE)
    at = rng.integers(0, len(drops), 14 * 40)
    drops[at] = rng.lognormal(0.0, 0.6, len(at))
    ring = np.exp(-np.arange(round(0.006 * RATE)) / (0.0015 * RATE))
    ring = band(rng.standard_normal(len(ring)) * ring, 500.0, 7000.0, order=1)
    drops = at_level(np.convolve(drops, ring)[: len(drops)], -46.0)
    drops[: 2 * RATE] = 0.0
    assert State.ACTIVE not in told_of(room(40.0) + drops[:, None].astype(np.float32)).states
