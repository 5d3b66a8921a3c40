"""Recursive filters as block products, against scipy's sample-by-sample filter."""

import numpy as np
import pytest
from scipy import signal

from engine.measure.loudness import k_weighting
from engine.measure.sos_filter import SosFilter

RATES_HZ = (8_000, 11_025, 22_050, 44_100, 44_300, 48_000, 88_200, 96_000, 192_000)


def _k_filter(rate_hz: int, tracks: int = 2) -> tuple[SosFilter, int]:
    hop = round(rate_hz / 100)
    return SosFilter(k_weighting(rate_hz), tracks, hop, 10), hop


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_it_gives_what_scipy_gives(rate_hz: int) -> None:
    """Over many ticks, the last one short, the output is scipy.signal.sosfilt's to 1e-10."""
    sections, hop = _k_filter(rate_hz)
    sound = np.random.default_rng(rate_hz).normal(0.0, 0.3, (2, 47 * hop)) + 0.2
    expected = signal.sosfilt(k_weighting(rate_hz), sound, axis=1)
    parts = [sections(sound[:, at : at + 10 * hop]).copy() for at in range(0, 47 * hop, 10 * hop)]
    np.testing.assert_allclose(np.concatenate(parts, axis=1), expected, atol=1e-10)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_in_single_precision_the_noise_is_130_db_down(rate_hz: int) -> None:
    """With float32 the output differs from scipy's by under 130 dB below the sound, DC and all."""
    hop = round(rate_hz / 100)
    sections = SosFilter(k_weighting(rate_hz), 2, hop, 10, np.float32)
    sound = np.random.default_rng(rate_hz).normal(0.0, 0.3, (2, 50 * hop)) + 0.5
    sound = sound.astype(np.float32)
    expected = signal.sosfilt(k_weighting(rate_hz), sound.astype(np.float64), axis=1)
    parts = [sections(sound[:, at : at + 10 * hop]).copy() for at in range(0, 50 * hop, 10 * hop)]
    error = np.concatenate(parts, axis=1) - expected
    assert np.sqrt(np.mean(error**2)) < 10 ** (-130 / 20) * np.sqrt(np.mean(sound**2))


def test_another_filter_of_more_sections() -> None:
    """A band-pass of four sections at a low rate agrees as well."""
    sos = signal.butter(4, (180.0, 700.0), "bandpass", fs=2000.0, output="sos")
    sections = SosFilter(sos, 3, 20, 10)
    sound = np.random.default_rng(1).normal(size=(3, 400))
    made = np.concatenate([sections(sound[:, :200]).copy(), sections(sound[:, 200:])], axis=1)
    np.testing.assert_allclose(made, signal.sosfilt(sos, sound, axis=1), atol=1e-10)


@pytest.mark.parametrize("hops", [1, 3, 7])
def test_the_cut_makes_no_difference(hops: int) -> None:
    """Few hops at a time or ten, the sound comes out the same to rounding."""
    one, hop = _k_filter(48_000)
    other, _ = _k_filter(48_000)
    sound = np.random.default_rng(2).normal(size=(2, 40 * hop)).astype(np.float32)
    whole = [one(sound[:, at : at + 10 * hop]).copy() for at in range(0, 40 * hop, 10 * hop)]
    cut = [other(sound[:, at : at + hops * hop]).copy() for at in range(0, 40 * hop, hops * hop)]
    np.testing.assert_allclose(
        np.concatenate(cut, axis=1), np.concatenate(whole, axis=1), atol=1e-10
    )


def test_after_silence_nothing_is_left() -> None:
    """Long after the sound the output is exactly zero, not ever smaller numbers."""
    sections, hop = _k_filter(48_000)
    sections(np.ones((2, 10 * hop)))
    for _ in range(100):
        made = sections(np.zeros((2, 10 * hop)))
    assert not made.any()


def test_the_input_stays_as_it_is() -> None:
    """Samples are read only."""
    sections, hop = _k_filter(48_000)
    sound = np.random.default_rng(3).normal(size=(2, 10 * hop))
    before = sound.copy()
    sections(sound)
    np.testing.assert_array_equal(sound, before)


def test_half_a_hop_is_refused() -> None:
    """Frames that make no whole hops, or more than was said, are an error."""
    sections, hop = _k_filter(48_000)
    for frames in (hop // 2, 11 * hop):
        with pytest.raises(ValueError, match="whole hops"):
            sections(np.zeros((2, frames)))


def test_many_tracks_are_filtered_as_each_alone() -> None:
    """More than go together in the cache, of several ticks: the parts are all of them in order."""
    hop, tracks = 480, 40
    sound = np.random.default_rng(4).normal(0.0, 0.1, (tracks, 100 * hop)).astype(np.float32)
    whole = SosFilter(k_weighting(48_000), tracks, hop, 10, np.float32)
    parts = [(which, made.copy()) for which, made in whole.some_rows(sound, 10)]
    assert len(parts) > 1
    assert np.array_equal(np.concatenate([sound[which] for which, _ in parts]), sound)
    for which, made in parts:
        apart = SosFilter(k_weighting(48_000), tracks, hop, 10, np.float32)
        np.testing.assert_allclose(apart(sound, 10)[which], made, rtol=0.0, atol=0.0)
