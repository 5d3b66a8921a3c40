"""The minimum-requirement signals of EBU Tech 3341 (2023), Table 1, at all five rates.

The table is for stereo in phase. A track here is one channel, so each expected loudness is either
3.01 LU lower (half the energy), or, for several channels, the sum of their energies is taken by
BS.1770-5 equation 2. Cases 7 and 8 are recorded programme and cannot be synthesised.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.model.messages import Measurement, Samples
from tests.support.feed_meter import in_turn, measure, run
from tests.support.signals import RATES_HZ, burst_between_samples, faded, scene, sine, steps

Parts = list[tuple[float | None, float]]
ONE_OF_TWO_LU = 10.0 * np.log10(2.0)
TOLERANCE_LU = 0.1

every_rate = pytest.mark.parametrize("rate_hz", RATES_HZ)

INTEGRATED_CASES = {
    1: ([(-23.0, 20.0)], -23.0),
    2: ([(-33.0, 20.0)], -33.0),
    3: ([(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
    4: ([(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
    5: ([(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
}


@every_rate
@pytest.mark.parametrize("case", INTEGRATED_CASES)
def test_integrated(case: int, rate_hz: int) -> None:
    """Cases 1 to 5 read their integrated loudness, less the second channel's 3.01 LU."""
    parts, expected = INTEGRATED_CASES[case]
    totals, last = measure(steps(parts, rate_hz), rate_hz)
    both = totals.integrated_lufs[0] + ONE_OF_TWO_LU
    assert both == pytest.approx(expected, abs=TOLERANCE_LU)
    if case in (1, 2):
        assert last.momentary_lufs[0] + ONE_OF_TWO_LU == pytest.approx(expected, abs=TOLERANCE_LU)
        assert last.short_term_lufs[0] + ONE_OF_TWO_LU == pytest.approx(expected, abs=TOLERANCE_LU)


@every_rate
def test_case_6_five_channels(rate_hz: int) -> None:
    """Case 6: the five tracks' loudness, summed with the weights of BS.1770-5, reads -23 LUFS.

    The sound is steady, so gating leaves the sum of energies as it is.
    """
    levels = (-28.0, -28.0, -24.0, -30.0, -30.0)
    weights = np.array([1.0, 1.0, 1.0, 1.41, 1.41])
    sound = np.hstack([sine(level, 20.0, rate_hz) for level in levels])
    totals, _ = measure(sound, rate_hz)
    energy = weights @ 10.0 ** (totals.integrated_lufs / 10.0)
    assert 10.0 * np.log10(energy) == pytest.approx(-23.0, abs=TOLERANCE_LU)


def _side_by_side(takes: list[Parts], rate_hz: int) -> Samples:
    made = [steps(parts, rate_hz) for parts in takes]
    frames = max(len(sound) for sound in made)
    return np.hstack([np.pad(sound, ((0, frames - len(sound)), (0, 0))) for sound in made])


def _after(measured: list[Measurement], start_s: float) -> list[Measurement]:
    return [m for m in measured if m.end_s >= start_s - 1e-9]


@every_rate
def test_case_9_short_term_is_constant(rate_hz: int) -> None:
    """Case 9: short-term loudness stays at -23 LUFS from 3 s on."""
    sound = steps([(-20.0, 1.34), (-30.0, 1.66)] * 5, rate_hz)
    values = [m.short_term_lufs[0] for m in _after(run(sound, scene(1, rate_hz))[1], 3.0)]
    both = np.array(values) + ONE_OF_TWO_LU
    assert both == pytest.approx(np.full(len(both), -23.0), abs=TOLERANCE_LU)


@every_rate
def test_case_10_short_term_maximum(rate_hz: int) -> None:
    """Case 10: a 3 s tone reads -23 LUFS wherever in time it begins (one place a track)."""
    takes = [[(None, i * 0.15), (-23.0, 3.0), (None, 1.0)] for i in range(20)]
    totals, _ = measure(_side_by_side(takes, rate_hz), rate_hz)
    both = totals.short_term_max_lufs + ONE_OF_TWO_LU
    assert both == pytest.approx(np.full(20, -23.0), abs=TOLERANCE_LU)


@every_rate
def test_case_11_short_term_in_turn(rate_hz: int) -> None:
    """Case 11: the live short-term maxima climb from -38 to -19 LUFS in turn."""
    parts = [
        part
        for i in range(20)
        for part in ((None, i * 0.15), (-38.0 + i, 3.0), (None, 3.0 - i * 0.15))
    ]
    seen = in_turn(steps(parts, rate_hz), rate_hz, every_ticks=60)
    both = np.array([totals.short_term_max_lufs[0] for totals in seen]) + ONE_OF_TWO_LU
    assert both == pytest.approx(np.arange(-38.0, -18.0), abs=TOLERANCE_LU)


@every_rate
def test_case_12_momentary_is_constant(rate_hz: int) -> None:
    """Case 12: momentary loudness stays at -23 LUFS from 1 s on."""
    sound = steps([(-20.0, 0.18), (-30.0, 0.22)] * 25, rate_hz)
    values = [m.momentary_lufs[0] for m in _after(run(sound, scene(1, rate_hz))[1], 1.0)]
    both = np.array(values) + ONE_OF_TWO_LU
    assert both == pytest.approx(np.full(len(both), -23.0), abs=TOLERANCE_LU)


@every_rate
def test_case_13_momentary_maximum(rate_hz: int) -> None:
    """Case 13: a 400 ms tone reads -23 LUFS wherever in time it begins (one place a track)."""
    takes = [[(None, i * 0.02), (-23.0, 0.4), (None, 1.0)] for i in range(20)]
    totals, _ = measure(_side_by_side(takes, rate_hz), rate_hz)
    both = totals.momentary_max_lufs + ONE_OF_TWO_LU
    assert both == pytest.approx(np.full(20, -23.0), abs=TOLERANCE_LU)


@every_rate
def test_case_14_momentary_in_turn(rate_hz: int) -> None:
    """Case 14: the live momentary maxima climb from -38 to -19 LUFS in turn."""
    parts = [
        part
        for i in range(20)
        for part in ((None, i * 0.02), (-38.0 + i, 0.4), (None, 0.4 - i * 0.02))
    ]
    seen = in_turn(steps(parts, rate_hz), rate_hz, every_ticks=8)
    both = np.array([totals.momentary_max_lufs[0] for totals in seen]) + ONE_OF_TWO_LU
    assert both == pytest.approx(np.arange(-38.0, -18.0), abs=TOLERANCE_LU)


TRUE_PEAK_SINES = {
    15: (4, 0.0, 0.50, -6.0),
    16: (4, 45.0, 0.50, -6.0),
    17: (6, 60.0, 0.50, -6.0),
    18: (8, 67.5, 0.50, -6.0),
    19: (4, 45.0, 1.41, 3.0),
}


def _assert_true_peak(sound: Samples, rate_hz: int, expected_dbtp: float) -> None:
    totals, _ = measure(sound, rate_hz)
    assert expected_dbtp - 0.4 <= totals.true_peak_max_dbtp[0] <= expected_dbtp + 0.2
    assert totals.true_peak_max_dbtp[0] >= totals.sample_peak_max_dbfs[0]


@every_rate
@pytest.mark.parametrize("case", TRUE_PEAK_SINES)
def test_true_peak_of_sines(case: int, rate_hz: int) -> None:
    """Cases 15 to 19 read their true peak within +0.2 and -0.4 dB."""
    part, phase, size, expected = TRUE_PEAK_SINES[case]
    level = 20.0 * np.log10(size)
    sound = sine(level, 1.0, rate_hz, hz=rate_hz / part, phase=np.deg2rad(phase))
    _assert_true_peak(faded(sound, rate_hz), rate_hz, expected)


@every_rate
@pytest.mark.parametrize("offset", range(4))
def test_true_peak_of_a_burst(offset: int, rate_hz: int) -> None:
    """Cases 20 to 23: one period at full scale reads 0 dBTP whatever the sampling instant."""
    _assert_true_peak(burst_between_samples(rate_hz, offset), rate_hz, 0.0)
