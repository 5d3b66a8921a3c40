"""The low end of a voice on two packs: against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, correlate, sosfreqz

from engine.detectors.low_end import band_pass, extremes, is_wire, phase_match

RATE_HZ = 2000.0
LAGS = 16


def test_the_band_pass_is_a_butterworth() -> None:
    """As scipy's, by its response."""
    ours = sosfreqz(band_pass(90.0, 350.0, RATE_HZ), 512)[1]
    theirs = sosfreqz(butter(1, (90.0, 350.0), "bandpass", fs=RATE_HZ, output="sos"), 512)[1]
    np.testing.assert_allclose(ours, theirs, atol=1e-9)


@pytest.mark.parametrize("lag", [-11, 0, 7])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_phases_match_at_the_lag(lag: int, sign: float) -> None:
    """Of a coloured sound, of either sign."""
    x = np.convolve(np.random.default_rng(2).standard_normal(2000), [1.0, 1.6, 0.8])
    match = phase_match(x, sign * np.roll(x, lag), LAGS)
    assert int(np.abs(match).argmax()) - LAGS == lag
    assert match[lag + LAGS] * sign > 0.7


def test_a_wire_turns_all_over_a_low_cut_its_lowest_alone() -> None:
    """A voice that falls by 6 dB an octave, and by the band-pass again; the cut has 18 dB."""
    frames = 40_000
    spectrum = np.fft.rfft(np.random.default_rng(3).standard_normal(frames))
    hz = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    spectrum *= (hz > 90.0) / np.maximum(hz, 100.0) ** 2
    main = np.fft.irfft(spectrum, n=frames)
    s = 1j * hz / 120.0  # Butterworth of third order
    low_cut = np.fft.irfft(spectrum * s**3 / (s**3 + 2.0 * s**2 + 2.0 * s + 1.0), n=frames)
    around = slice(frames - 1 - LAGS, frames + LAGS)
    near = slice(LAGS - 3, LAGS + 4)
    assert is_wire(correlate(-main, main, method="fft")[around], near)
    assert not is_wire(correlate(main, main, method="fft")[around], near)
    assert not is_wire(correlate(low_cut, main, method="fft")[around], near)


@pytest.mark.parametrize("tone_hz", [150.0, 590.0, 700.0, 880.0])
@pytest.mark.parametrize("phase", [0.0, 1.0, 2.5])
def test_a_sung_note_is_as_high_as_it_is_low(tone_hz: float, phase: float) -> None:
    """Between the lags too: a cosine, whose extremes are 1 and -1."""
    lags = np.arange(-40, 41)
    correlation = np.cos(2.0 * np.pi * tone_hz * lags / RATE_HZ + phase)
    highest, lowest = extremes(correlation, slice(30, 51))
    assert highest == pytest.approx(1.0, abs=0.06)
    assert lowest == pytest.approx(-1.0, abs=0.06)
