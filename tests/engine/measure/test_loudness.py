"""The K filter and integrated gating, against ITU-R BS.1770-5 and against their own definition."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import sosfreqz

from engine.measure.loudness import GatedLoudness, k_weighting, lufs
from engine.model.units import FLOOR_DB
from tests.support.feed_meter import measure, run
from tests.support.signals import RATES_HZ, scene, sine, steps
from tests.support.strategies import seeds, untimed

every_rate = pytest.mark.parametrize("rate_hz", RATES_HZ)


def test_coefficients_of_the_standard() -> None:
    """At 48 kHz the filter is that of BS.1770-5 Annex 1, Tables 1 and 2."""
    table = [
        [1.53512485958697, -2.69169618940638, 1.19839281085285],
        [1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0],
        [1.0, -1.99004745483398, 0.99007225036621],
    ]
    assert k_weighting(48_000).reshape(4, 3) == pytest.approx(np.array(table), abs=1e-13)


@every_rate
def test_gain_at_every_rate(rate_hz: int) -> None:
    """The gain is that of the 48 kHz filter of BS.1770-5 at every rate.

    Gains calculated from the standard's Tables 1 and 2. Above 2 kHz the bilinear transform of a
    low rate bends the response a little, so 10 kHz is allowed 0.1 dB.
    """
    hz = np.array([25.0, 50.0, 60.0, 100.0, 500.0, 997.0, 1000.0, 2000.0, 10_000.0])
    gain_db = np.array([-10.39, -3.93, -2.90, -1.13, 0.04, 0.691, 0.698, 3.07, 4.04])
    _, response = sosfreqz(k_weighting(rate_hz), worN=hz, fs=rate_hz)
    error = np.abs(20.0 * np.log10(np.abs(response)) - gain_db)
    assert np.all(error[:-1] < 0.02)
    assert error[-1] < 0.1


@every_rate
def test_full_scale_sine(rate_hz: int) -> None:
    """A 997 Hz sine at 0 dBFS in one channel reads -3.01 LUFS (BS.1770-5 Annex 1)."""
    totals, last = measure(sine(0.0, 4.0, rate_hz, hz=997.0), rate_hz)
    assert totals.integrated_lufs[0] == pytest.approx(-3.01, abs=0.01)
    assert last.momentary_lufs[0] == pytest.approx(-3.01, abs=0.01)
    assert last.short_term_lufs[0] == pytest.approx(-3.01, abs=0.01)


def test_nan_until_the_window_is_full() -> None:
    """Momentary loudness is NaN before 400 ms and short-term before 3 s, and known from then on."""
    _, measured = run(sine(-20.0, 3.2, 48_000), scene())
    assert [np.isnan(m.momentary_lufs[0]) for m in measured] == [n < 3 for n in range(32)]
    assert [np.isnan(m.short_term_lufs[0]) for m in measured] == [n < 29 for n in range(32)]


def test_digital_zero_has_no_level() -> None:
    """Digital zero reads the floor that stands for no level."""
    totals, last = measure(steps([(None, 4.0)], 48_000), 48_000)
    for level in (totals.integrated_lufs, totals.momentary_max_lufs, last.short_term_lufs):
        assert level[0] == FLOOR_DB


def _exact_integrated(powers: np.ndarray) -> float:
    """BS.1770-5 Annex 1, equations 5 to 7, on the whole list of block energies."""
    loud = powers[lufs(powers) > -70.0]
    if not len(loud):
        return FLOOR_DB
    kept = loud[lufs(loud) > lufs(loud.mean()) - 10.0]
    return float(lufs(kept.mean()))


@untimed
@given(seed=seeds, blocks=st.integers(1, 3000), spread_lu=st.floats(0.0, 40.0))
def test_gating_in_constant_memory_is_exact(seed: int, blocks: int, spread_lu: float) -> None:
    """Integrated loudness lies within 0.01 LU of the exact list of blocks, gates and all.

    Only blocks in the one class that the relative gate cuts can be sorted wrongly, all of them
    within 0.01 LU of the gate.
    """
    rng = np.random.default_rng(seed)
    level = rng.normal(rng.uniform(-75.0, -5.0), spread_lu / 4.0, blocks).clip(-190.0, 25.0)
    powers = 10.0 ** (level / 10.0)
    gated = GatedLoudness(1)
    for power in powers:
        gated.update(np.array([power]))
    assert gated.integrated_lufs[0] == pytest.approx(_exact_integrated(powers), abs=0.01)
