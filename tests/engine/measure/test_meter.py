"""The meter as a whole: properties that hold for any sound, and its errors."""

from __future__ import annotations

from dataclasses import asdict, fields
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.measure.floor import Learned
from engine.measure.meter import Meter, Totals
from engine.model.messages import Measurement, PackLevel, Samples
from tests.support.feed_meter import run
from tests.support.signals import RATES_HZ, noise, scene, sine
from tests.support.strategies import bad_samples, cuts, seeds, takes, untimed

RATE_HZ = 8_000

LEVELS = [f.name for f in fields(Totals) if f.name.endswith(("_lufs", "_dbfs", "_dbtp"))]


def _same(one: Measurement | Totals, other: Measurement | Totals) -> None:
    for field in fields(one):
        ours, theirs = getattr(one, field.name), getattr(other, field.name)
        if isinstance(ours, np.ndarray):
            assert np.array_equal(ours, theirs, equal_nan=True), field.name
        else:
            assert ours == theirs, field.name


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_tick_is_ten_hops_of_10_ms(rate_hz: int) -> None:
    """A tick lasts 100 ms at every rate, its measurements lie end to end."""
    meter = Meter(scene(2, rate_hz))
    assert meter.hop_frames == round(rate_hz / 100)
    assert meter.tick_frames == 10 * meter.hop_frames
    _, measured = run(noise(-40.0, 0.35, rate_hz, tracks=2), scene(2, rate_hz))
    assert [m.start_s for m in measured] == pytest.approx([0.0, 0.1, 0.2])
    assert [m.end_s for m in measured] == pytest.approx([0.1, 0.2, 0.3])
    assert measured[0].hop_s == pytest.approx(0.01)
    assert measured[0].peak_max.shape == measured[0].valid.shape == (10, 2)


@untimed
@given(data=st.data(), take=takes())
def test_cuts_and_memory_layout_do_not_matter(data: st.DataObject, take: Samples) -> None:
    """Sound that came in any blocks, in any layout, gives the same answers bit for bit."""
    places = data.draw(cuts(len(take)))
    blocks = [take[a:b] for a, b in pairwise(places)]
    joined = np.asfortranarray(np.concatenate(blocks))
    what = scene(take.shape[1], RATE_HZ)
    meter, measured = run(np.ascontiguousarray(take), what)
    other, again = run(joined, what)
    for one, two in zip(measured, again, strict=True):
        _same(one, two)
    _same(meter.totals(), other.totals())


@untimed
@given(data=st.data(), take=takes(), bad=bad_samples, lost=st.booleans())
def test_ticks_measured_together_are_those_measured_alone(
    data: st.DataObject, take: Samples, bad: float, lost: bool
) -> None:
    """However many ticks come at once, measurements and totals are the same bit for bit."""
    take[len(take) // 3 : len(take) // 3 + 3, 0] = bad
    gaps = np.zeros(len(take), dtype=np.bool_)
    gaps[len(take) // 2 : len(take) // 2 + 200 * lost] = True
    take[gaps] = 0.0
    what = scene(take.shape[1], RATE_HZ)
    one_by_one, alone = run(take, what, gaps)
    meter, together = Meter(what), []
    whole = len(take) // meter.tick_frames
    for begin, end in pairwise(data.draw(cuts(whole))):
        span = slice(begin * meter.tick_frames, end * meter.tick_frames)
        together += meter.measure(take[span], gaps[span])
    rest = slice(whole * meter.tick_frames, None)
    meter.finish(take[rest], gaps[rest])
    assert len(alone) == len(together) == whole
    for one, other in zip(alone, together, strict=True):
        _same(one, other)
    _same(one_by_one.totals(), meter.totals())


@untimed
@given(take=takes())
def test_input_is_not_altered(take: Samples) -> None:
    """The samples handed over are as they were, bad ones too."""
    take[len(take) // 2] = np.nan
    for layout in (np.ascontiguousarray(take), np.asfortranarray(take)):
        before = layout.copy()
        run(layout, scene(take.shape[1], RATE_HZ))
        assert np.array_equal(layout, before, equal_nan=True)


@settings(untimed, max_examples=10)
@given(seed=seeds, level=st.floats(-50.0, -10.0))
def test_twice_the_amplitude_is_6_db(seed: int, level: float) -> None:
    """Every level rises by 6.02 dB when the sound doubles; presence and validity stay."""
    sound = noise(level, 11.0, RATE_HZ, seed=seed)
    quiet = asdict(run(sound, scene(1, RATE_HZ))[0].totals())
    loud = asdict(run(2.0 * sound, scene(1, RATE_HZ))[0].totals())
    for name in LEVELS:
        assert loud[name] - quiet[name] == pytest.approx(20.0 * np.log10(2.0), abs=1e-4), name


@untimed
@given(take=takes(max_tracks=5), seed=seeds)
def test_track_order_is_kept(take: Samples, seed: int) -> None:
    """Tracks in another order give the same answers in that order: none knows its neighbour."""
    order = np.random.default_rng(seed).permutation(take.shape[1])
    what = scene(take.shape[1], RATE_HZ)
    straight = asdict(run(take, what)[0].totals())
    moved = asdict(run(take[:, order], what)[0].totals())
    for name, values in straight.items():
        assert moved[name] == pytest.approx(values[order], abs=1e-6, nan_ok=True), name


@untimed
@given(take=takes(max_s=0.99), bad=bad_samples, share=st.floats(0.0, 1.0), seed=seeds)
def test_bad_samples_do_not_poison(take: Samples, bad: float, share: float, seed: int) -> None:
    """With any share of NaN or infinities no measure is infinite, and good sound is heard after."""
    hit = np.random.default_rng(seed).random(take.shape) < share
    spoiled = np.where(hit, np.float32(bad), take)
    after = noise(-20.0, 5.0, RATE_HZ, tracks=take.shape[1])
    meter, measured = run(np.concatenate([spoiled, after]), scene(take.shape[1], RATE_HZ))
    for values in asdict(meter.totals()).values():
        assert not np.isinf(values).any()
    assert measured[-1].level_dbfs == pytest.approx(np.full(take.shape[1], -20.0), abs=0.5)
    assert np.isfinite(measured[-1].short_term_lufs).all()


def test_an_invalid_hop_counts_nowhere() -> None:
    """A loud sample in a hop with a NaN shows in no total."""
    sound = sine(-30.0, 4.0, 48_000)
    clean = asdict(run(sound, scene())[0].totals())
    spoiled = sound.copy()
    spoiled[96_010:96_020] = [[0.99]] * 10
    spoiled[96_200] = np.nan
    got = asdict(run(spoiled, scene())[0].totals())
    for name in ("sample_peak_max_dbfs", "true_peak_max_dbtp", "rms_dbfs"):
        assert got[name] == pytest.approx(clean[name], abs=0.01), name
    for name in ("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs"):
        assert got[name] == pytest.approx(clean[name], abs=0.1), name


def test_denormals_are_no_sound() -> None:
    """Denormal samples, and what remains in the filters after sound, give no level."""
    sound = np.concatenate([sine(0.0, 1.0, 48_000), np.full((480_000, 1), 1e-42, np.float32)])
    _, measured = run(sound, scene())
    assert measured[-1].momentary_lufs[0] == measured[-1].level_dbfs[0] == -200.0


@untimed
@given(take=takes(max_s=0.3))
def test_any_length_is_counted_whole(take: Samples) -> None:
    """The last, incomplete tick counts in peak, RMS and DC to the last frame."""
    totals = run(take, scene(take.shape[1], RATE_HZ))[0].totals()
    exact = take.astype(np.float64)
    peak = np.abs(exact).max(axis=0)
    rms = np.sqrt(2.0 * (exact**2).mean(axis=0))
    assert 10.0 ** (totals.sample_peak_max_dbfs / 20.0) == pytest.approx(peak, abs=1e-9)
    assert 10.0 ** (totals.rms_dbfs / 20.0) == pytest.approx(rms, abs=1e-9)
    assert totals.dc_offset == pytest.approx(exact.mean(axis=0), abs=1e-12)


def test_full_hops_of_the_rest_count_in_loudness() -> None:
    """A 400 ms tone that ends 50 ms into the last, incomplete tick has its momentary maximum."""
    sound = np.concatenate([np.zeros((2400, 1), np.float32), sine(-23.0, 0.4, 48_000)])
    totals = run(sound, scene())[0].totals()
    assert totals.momentary_max_lufs[0] == pytest.approx(-26.0, abs=0.1)


def test_nothing_measured_is_nan() -> None:
    """A meter that heard nothing, or only lost frames, states no level."""
    lost = np.ones(4800, dtype=bool)
    heard_none = Meter(scene(2))
    heard_none.finish(np.zeros((0, 2), np.float32))
    only_lost = run(np.zeros((4800, 2), np.float32), scene(2), lost)[0]
    for meter in (heard_none, only_lost):
        for name, values in asdict(meter.totals()).items():
            assert np.isnan(values).all(), name


def test_restart_knows_its_floors() -> None:
    """Floors learned by one meter are known to the next from its first tick."""
    sound = noise(-55.0, 12.0, RATE_HZ, tracks=2)
    what = scene(2, RATE_HZ, level=PackLevel.MAIN)
    first, _ = run(sound, what)
    second = Meter(what, first.learned())
    measurement = second.update(sound[: second.tick_frames])
    assert measurement.floor_dbfs == pytest.approx(np.full(2, -55.0), abs=1.0)
    assert measurement.presence_dbfs == pytest.approx(measurement.floor_dbfs - 8.0)


def test_refusals() -> None:
    """Another shape, a whole tick as the rest, and floors of other tracks are refused."""
    meter = Meter(scene(2))
    with pytest.raises(ValueError, match=r"a tick is \(4800, 2\)"):
        meter.update(np.zeros((4800, 3), np.float32))
    with pytest.raises(ValueError, match=r"a tick is \(4800, 2\)"):
        meter.update(np.zeros((4799, 2), np.float32))
    with pytest.raises(ValueError, match=r"a tick is \(4800, 2\)"):
        meter.finish(np.zeros((4800, 2), np.float32))
    with pytest.raises(ValueError, match="of 3 tracks, the plan has 2"):
        Meter(scene(2), Learned(np.zeros(3)))
