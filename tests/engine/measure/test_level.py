"""Peaks, RMS, DC, and what of the sound counts at all."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.measure.level import NO_NUMBER, measure_hops, some_rows
from engine.model.messages import Samples
from engine.model.units import FLOOR_DB
from tests.support.feed_meter import measure, run
from tests.support.signals import RATES_HZ, column, noise, scene, sine, steps
from tests.support.strategies import bad_samples, takes, untimed

every_rate = pytest.mark.parametrize("rate_hz", RATES_HZ)


@every_rate
def test_full_scale_sine_is_0_dbfs(rate_hz: int) -> None:
    """A 997 Hz sine that just reaches full scale reads 0 dBFS, RMS and peak alike (AES17)."""
    totals, last = measure(sine(0.0, 2.0, rate_hz, hz=997.0), rate_hz)
    assert totals.rms_dbfs[0] == pytest.approx(0.0, abs=0.001)
    assert last.level_dbfs[0] == pytest.approx(0.0, abs=0.02)
    assert totals.sample_peak_max_dbfs[0] == pytest.approx(0.0, abs=0.001)


def test_full_scale_square_is_3_db_more() -> None:
    """A full-scale square wave reads +3.01 dBFS RMS (AES17)."""
    square = column(np.sign(np.sin(2.0 * np.pi * 100.0 * (np.arange(48_000) + 0.5) / 48_000)))
    totals, last = measure(square, 48_000)
    assert totals.rms_dbfs[0] == pytest.approx(3.0103, abs=0.001)
    assert last.level_dbfs[0] == pytest.approx(3.0103, abs=0.001)


def test_dc_offset() -> None:
    """A sine on a constant has that constant as its DC offset, to 24-bit precision."""
    totals, _ = measure(sine(-20.0, 1.0, 48_000) + np.float32(0.0125), 48_000)
    assert totals.dc_offset[0] == pytest.approx(0.0125, abs=1e-7)


def test_digital_zero_has_no_level() -> None:
    """Digital zero reads the floor that stands for no level, and no DC."""
    totals, last = measure(steps([(None, 1.0)], 48_000), 48_000)
    assert totals.rms_dbfs[0] == totals.sample_peak_max_dbfs[0] == FLOOR_DB
    assert totals.true_peak_max_dbtp[0] == last.level_dbfs[0] == FLOOR_DB
    assert totals.dc_offset[0] == 0.0


@untimed
@given(take=takes())
def test_hops_hold_what_the_samples_say(take: Samples) -> None:
    """Extremes, energies and sums of each hop are those of its own samples."""
    hop = 40
    take = np.resize(take, (max(1, len(take) // hop) * hop, take.shape[1]))
    hops = measure_hops(take, hop)
    for n in range(len(take) // hop):
        part = take[n * hop : (n + 1) * hop].astype(np.float64)
        assert np.array_equal(hops.peak_max[:, n], part.max(axis=0))
        assert np.array_equal(hops.peak_min[:, n], part.min(axis=0))
        assert hops.squares[:, n] == pytest.approx((part**2).sum(axis=0), rel=1e-12, abs=1e-90)
        assert hops.sums[:, n] == pytest.approx(part.sum(axis=0), rel=1e-9, abs=1e-9)


@untimed
@given(bad=bad_samples, place=st.integers(0, 4799), track=st.integers(0, 2))
def test_what_is_no_number_is_zeroed_and_counted(bad: float, place: int, track: int) -> None:
    """A NaN or infinity becomes zero, is counted, and takes its hop out on its track alone."""
    sound = noise(-20.0, 0.1, 48_000, tracks=3)
    sound[place, track] = bad
    _, (measurement,) = run(sound, scene(3))
    assert np.isfinite(measurement.samples).all()
    assert measurement.samples[place, track] == 0.0
    assert measurement.lost.tolist() == [int(n == track) for n in range(3)]
    expected = np.ones((10, 3), dtype=bool)
    expected[place // 480, track] = False
    assert np.array_equal(measurement.valid, expected)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("bits", [0x7F800001, 0xFF800001, 0x7FC00000])
def test_no_number_of_any_kind_is_warned_of(bits: int) -> None:
    """NaNs that signal (IEEE 754), as a spoiled file may hold, and quiet ones."""
    x = np.full((960, 1), 0.5, dtype=np.float32)
    x.view(np.uint32)[7] = bits
    hops = measure_hops(x, 480)
    assert hops.valid.tolist() == [[False, True]]
    assert hops.lost.tolist() == [[1, 0]]


def test_limit_of_what_is_a_number() -> None:
    """A sample at 120 dB over full scale is no number, one just under it is."""
    for value, lost in ((NO_NUMBER, 1), (np.nextafter(NO_NUMBER, np.float32(0.0)), 0)):
        sound = np.zeros((480, 1), dtype=np.float32)
        sound[7] = value
        assert measure_hops(sound, 480).lost[0] == lost


def test_lost_frames_do_not_count() -> None:
    """Frames that were lost take their hops out of RMS on every track."""
    sound = noise(-30.0, 1.0, 48_000, tracks=2)
    missing = np.zeros(len(sound), dtype=bool)
    missing[10_000:30_000] = True
    sound[missing] = 0.0
    meter, measured = run(sound, scene(2), missing)
    assert meter.totals().rms_dbfs == pytest.approx(np.full(2, -30.0), abs=0.1)
    valid = np.concatenate([m.valid for m in measured])
    hops = missing.reshape(-1, 480).any(axis=1)
    assert np.array_equal(valid, np.repeat(~hops[:, None], 2, axis=1))
    assert measured[3].lost.tolist() == [0, 0]


def test_rows_come_a_few_at_a_time_and_each_is_the_same() -> None:
    """All of them once and in order, few enough for the cache; sums do not depend on it."""
    x = np.random.default_rng(8).standard_normal((7, 48_000)).astype(np.float32)
    parts = list(some_rows(x))
    assert np.array_equal(np.concatenate([x[part] for part in parts]), x)
    assert 8 * max(x[part].size for part in parts) <= 2**20
    together = measure_hops(x.T, 480, None, 10)
    for row in range(len(x)):
        alone = measure_hops(x[row : row + 1].T, 480, None, 10)
        for name in ("squares", "sums", "peak_max", "peak_min", "peak_at"):
            assert np.array_equal(getattr(alone, name)[0], getattr(together, name)[row])
        places = np.arange(0, 48_000, 480) + together.peak_at[row]
        assert np.array_equal(x[row, places], together.peak_max[row])
