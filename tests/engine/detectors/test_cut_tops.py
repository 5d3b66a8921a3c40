"""Tops that an overload cut off, after what a rig does to them.

Chains from circuit theory and the sampling theorem: a coupling capacitor is a first-order
high-pass, an anti-aliasing filter a low-pass, a resampler an ideal band limit (`scipy.signal`).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from engine.detectors.cut_tops import CROSSED, tops_near_peak

RATE = 48_000
Wave = NDArray[np.float64]


def tone(hz: float, peak: float, seconds: float = 0.3, phase: float = 0.0) -> Wave:
    """A sine of that peak."""
    time_s = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(peak * np.sin(2.0 * np.pi * hz * time_s + phase))


def cut_share(wave: Wave, rate_hz: int = RATE) -> float:
    """Share of the tops that are cut, the settling of filters left out."""
    settled = wave[round(0.1 * rate_hz) : round(-0.05 * rate_hz)]
    tops = tops_near_peak(settled[None].astype(np.float32), rate_hz)
    assert len(tops.cut) > 5
    return float(np.mean(tops.cut))


def analogue(wave: Wave, corner_hz: float) -> Wave:
    """A coupling capacitor and an input's low-pass at 20 kHz."""
    sos = signal.butter(2, 20_000, fs=RATE, output="sos")
    return np.asarray(
        signal.sosfilt(sos, signal.lfilter(*signal.butter(1, corner_hz, "highpass", fs=RATE), wave))
    )


@pytest.mark.parametrize("over_db", [2.0, 3.0, 12.0])
@pytest.mark.parametrize("hz", [210.0, 450.0, 997.0, 1500.0])
@pytest.mark.parametrize("corner_hz", [5.0, 20.0])
def test_after_an_analogue_step(hz: float, over_db: float, corner_hz: float) -> None:
    """Cut tops are known behind a capacitor and a low-pass."""
    wave = np.clip(tone(hz, 0.5 * 10 ** (over_db / 20)), -0.5, 0.5)
    assert cut_share(analogue(wave, corner_hz)) > 0.9


@pytest.mark.parametrize("over_db", [3.0, 12.0])
@pytest.mark.parametrize("hz", [213.0, 457.0, 1011.0])
def test_corners_are_sharp_up_to_where_a_link_ends(hz: float, over_db: float) -> None:
    """Behind a steep 15 kHz, a link's band, they are sharper in the mean than behind 8 kHz, where
    what is left is no sharper than a voice."""
    wave = np.clip(tone(hz, 0.5 * 10 ** (over_db / 20)), -0.5, 0.5)
    for ends_hz, sharp in ((15_000, True), (8_000, False)):
        sos = signal.butter(8, ends_hz, fs=RATE, output="sos")
        tops = tops_near_peak(signal.sosfilt(sos, wave)[4800:-2400][None].astype(np.float32), RATE)
        assert bool(tops.sharpness[tops.cut].sum() >= CROSSED * len(tops.cut[tops.cut])) == (
            sharp or not tops.cut.any()
        )


@pytest.mark.parametrize("rate_hz", [44_100, 48_002, 96_000, 192_000])
@pytest.mark.parametrize("hz", [210.0, 997.0, 1500.0])
def test_after_a_resampler(hz: float, rate_hz: int) -> None:
    """An ideal change of the rate makes them ring, and they are known still."""
    wave = np.clip(tone(hz, 0.8, 1.0), -0.5, 0.5)
    resampled = np.asarray(signal.resample(wave, rate_hz))
    assert cut_share(resampled, rate_hz if rate_hz != 48_002 else RATE) > 0.9


@settings(max_examples=60, deadline=None)
@given(
    st.floats(60.0, 1400.0),
    st.floats(0.0, 1.0),
    st.floats(0.0, 6.28),
    st.sampled_from([2, 3]),
)
def test_waves_of_two_harmonics_are_round(
    hz: float, share: float, phase: float, times: int
) -> None:
    """No tone in the range of a voice, with its octave or third harmonic in whatever phase, has cut
    tops."""
    wave = tone(hz, 0.5) + tone(times * hz, 0.5 * share / times**2, phase=phase)
    assert cut_share(wave) < 0.1


def test_a_soft_knee_is_round() -> None:
    """A hyperbolic tangent bends and does not break off."""
    assert cut_share(np.tanh(tone(440.0, 3.0))) == 0.0


def test_it_says_where_how_long_and_how_high() -> None:
    """First flat sample, flat samples and ceiling of a top that was made."""
    wave = np.minimum(0.3 * np.bartlett(41), 0.2)
    row = np.concatenate([np.zeros(100), wave, np.zeros(100)]).astype(np.float32)
    tops = tops_near_peak(np.stack([np.zeros_like(row), row]), RATE)
    flat = np.flatnonzero(row == row.max())
    assert tops.row.tolist() == [1]
    assert abs(tops.start[0] - flat[0]) <= 1
    assert abs(tops.start[0] + tops.length[0] - 1 - flat[-1]) <= 1
    assert tops.ceiling[0] == pytest.approx(0.2)
    assert tops.cut.tolist() == [True]


def test_nothing_to_see() -> None:
    """Silence, faint sound and tops at the ends of a row give nothing."""
    assert not len(tops_near_peak(np.zeros((0, 480), dtype=np.float32), RATE).row)
    assert not len(tops_near_peak(np.zeros((2, 480), dtype=np.float32), RATE).row)
    faint = np.clip(tone(440.0, 0.004), -0.0025, 0.0025)
    assert not len(tops_near_peak(faint[None].astype(np.float32), RATE).row)
    edge = np.full((1, 480), 0.5, dtype=np.float32)
    edge[0, 40:] = 0.0
    assert not len(tops_near_peak(edge, RATE).row)
