"""The shape of a link's noise: what is calculated from the model, not from what the code says."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.detectors.hash_shape import (
    BANDS_HZ,
    best_match,
    holds_level,
    is_hash,
    is_open_squelch,
    rise_s,
    roughness,
)
from engine.model.messages import Levels
from tests.support.signals import noise

RATE = 48_000


def densities_db(emphasis_us: float, triangular: bool, top_hz: float = 30_000.0) -> Levels:
    """Power a hertz in each band, dB: level or growing with f squared, after de-emphasis."""
    hz = np.linspace(1.0, 24_000.0, 24_000)
    density = (hz**2 if triangular else 1.0) / (1.0 + (2e-6 * np.pi * hz * emphasis_us) ** 2)
    density = density * np.where(hz < top_hz, 1.0, 1e-3)
    bands = pairwise(BANDS_HZ)
    means = [density[(hz >= low) & (hz < high)].mean() for low, high in bands]
    return np.asarray(10.0 * np.log10(means))


@pytest.mark.parametrize("emphasis_us", [0.0, 50.0, 75.0])
def test_triangular_noise_is_hash(emphasis_us: float) -> None:
    """Near the threshold, with de-emphasis or without, whether the link ends at 15 kHz or not."""
    assert is_hash(densities_db(emphasis_us, triangular=True))
    if emphasis_us:
        assert is_hash(densities_db(emphasis_us, triangular=True, top_hz=14_500.0))


@pytest.mark.parametrize("emphasis_us", [0.0, 50.0])
def test_no_link_ends_at_9_khz(emphasis_us: float) -> None:
    """Noise that rises and has nothing from 9.6 kHz on came through something narrower."""
    assert not is_hash(densities_db(emphasis_us, triangular=True, top_hz=9600.0))


def test_level_noise_is_hash() -> None:
    """White noise, and any that lies within 10 dB."""
    assert is_hash(densities_db(0.0, triangular=False))
    assert is_hash(np.array([0.0, -4.0, 5.0, -4.9, 0.0, 3.0]))
    assert not is_hash(np.array([0.0, -4.0, 5.5, -4.9, 0.0, 3.0]))


@pytest.mark.parametrize("emphasis_us", [50.0, 75.0])
def test_only_an_open_squelch_falls_so(emphasis_us: float) -> None:
    """Level noise after de-emphasis is one; white, triangular and -12 dB an octave are not."""
    level = densities_db(emphasis_us, triangular=False)
    assert is_open_squelch(level, 8)
    assert is_open_squelch(level, 64)  # each emphasis by its own shape
    assert not is_open_squelch(level, 3)
    assert not is_hash(level)
    assert not is_open_squelch(densities_db(0.0, triangular=False), 8)
    assert not is_open_squelch(densities_db(emphasis_us, triangular=True), 8)
    assert not is_open_squelch(2.0 * level, 8)


def test_fewer_hops_may_spread_more() -> None:
    """Four hops leave twice the deviation of sixteen: 3.8 dB against 1.9, each over 1.5 dB."""
    off = densities_db(50.0, triangular=False) + np.array([0.0, 4.5, 0.0, 0.0, 0.0, 0.0])
    assert is_open_squelch(off, 4)
    assert not is_open_squelch(off, 16)


@pytest.mark.parametrize(("fall_db", "hash_too"), [(2.9, True), (3.1, False)])
def test_what_rises_may_fall_back_by_3_db(fall_db: float, hash_too: bool) -> None:
    """From one band to a later one, over 30 dB in all."""
    assert is_hash(np.array([0.0, 6.0, 12.0, 12.0 - fall_db, 20.0, 24.0])) is hash_too


def test_a_sibilant_is_no_hash() -> None:
    """A hill at 6 kHz with a lull below and above (shape of "s": common practice, no source)."""
    assert not is_hash(np.array([-40.0, -35.0, -25.0, -5.0, 0.0, -20.0]))


@pytest.mark.parametrize("band_hz", [(20.0, 23_000.0), (20.0, 15_000.0), (2000.0, 9000.0)])
def test_gaussian_noise_has_roughness_one(band_hz: tuple[float, float]) -> None:
    """Steady noise spreads as chi-square says, whatever its band (Bendat and Piersol)."""
    sos = butter(4, band_hz, "bandpass", fs=RATE, output="sos")
    x = sosfilt(sos, noise(-20.0, 2.0, RATE, seed=2)[:, 0].astype(np.float64))
    hops = x[RATE:].reshape(-1, RATE // 100)
    assert roughness(hops) == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("seed", range(20))
def test_an_open_squelch_holds_its_level(seed: int) -> None:
    """Hops of Gaussian noise do at any bandwidth; where they swell by 6 dB they do not."""
    hops = noise(-20.0, 0.06, RATE, seed).reshape(6, -1)
    dull = sosfilt(butter(1, 3200.0, fs=RATE, output="sos"), hops.ravel()).reshape(hops.shape)
    swell = 10.0 ** (np.array([0.0, 2.0, 5.0, 6.0, 3.0, 0.0]) / 20.0)
    assert holds_level(hops)
    assert holds_level(dull)
    assert not holds_level(swell[:, np.newaxis] * dull)


def test_a_squelch_rises_in_milliseconds() -> None:
    """White noise that is there from one sample on, at a place that need not be known to 10 ms."""
    x = noise(-60.0, 0.3, RATE, seed=2)[:, 0]
    x[6000:] += noise(-30.0, 0.3, RATE, seed=3)[6000:, 0]
    assert all(rise_s(np.diff(x), at, RATE) < 0.004 for at in range(5700, 6400, 50))


@pytest.mark.parametrize("null_s", [0.008, 0.015])
def test_hiss_in_fading_rises_for_longer(null_s: float) -> None:
    """Noise as the inverse of a channel's power, which goes as the square of time round a null."""
    at_s = np.arange(round(0.3 * RATE)) / RATE - 0.15
    swell = 10.0 / np.hypot(1.0, at_s / null_s)
    x = noise(-60.0, 0.3, RATE, seed=2)[:, 0] * swell
    begin = round((0.15 - 2.5 * null_s) * RATE)
    assert all(rise_s(np.diff(x), at, RATE) > 0.005 for at in range(begin, begin + 400, 50))


def test_too_little_before_an_edge_says_nothing() -> None:
    """At the begin of what is known there is no rise to be measured."""
    assert rise_s(np.diff(noise(-30.0, 0.1, RATE)[:, 0]), 100, RATE) == 0.0


@pytest.mark.parametrize("share", [0.2, 0.6, 1.0])
def test_the_best_match_is_the_share_of_the_common_sound(share: float) -> None:
    """One noise on two mics, later on the other and with another noise there, or none of it."""
    common, own, other = (noise(-20.0, 0.2, RATE, seed=n)[:, 0] for n in (4, 5, 6))
    there = np.stack([share * np.roll(common, 137) + np.sqrt(1 - share**2) * own, other], axis=1)
    assert best_match(common[1000:8000], there) == pytest.approx([share, 0.0], abs=0.17)
