"""Figures of a watch in several stretches, against a library and the standard's own formula.

Reference for loudness: pyloudnorm (PyPI), over the whole sound at once. Tolerance: EBU Tech 3341,
table 1 (0.1 LU).
"""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from engine.measure.loudness import OFFSET_LU
from engine.measure.meter import Meter
from engine.model import dataclass_json
from engine.model.messages import Samples
from engine.session.loudness_totals import Gates, LoudnessTotals, TotalsRecorder, together
from tests.support.feeding import tick, totals
from tests.support.signals import scene

RATE = 48_000
TRACKS = 3
LOUDNESS_LU = 0.1


def sound(seed: int, seconds: int, level: float) -> Samples:
    """Three tracks of noise in bursts of every level, the last one silent at times."""
    rng = np.random.default_rng(seed)
    steps = 10.0 ** (rng.uniform(-30.0, 0.0, (seconds * 2, TRACKS)) / 20.0)
    gains = np.repeat(level * steps, RATE // 2, axis=0)
    made = gains * rng.standard_normal((seconds * RATE, TRACKS)) * 0.2
    made[: seconds * RATE // 3, 2] = 0.0
    return np.clip(made, -1.0, 1.0).astype(np.float32)


def measured(samples: Samples) -> tuple[LoudnessTotals, Gates]:
    """What an engine of its own keeps of that sound."""
    meter = Meter(scene(TRACKS, RATE))
    feed = TotalsRecorder(range(1, TRACKS + 1), meter.totals)
    for at in range(0, len(samples), meter.tick_frames):
        feed.add(meter.update(samples[at : at + meter.tick_frames]))
    return feed.stretch(), feed.gates


def joined(*parts: tuple[LoudnessTotals, Gates]) -> LoudnessTotals:
    """The whole, by what the log has of each part."""
    gates = Gates(TRACKS)
    for _, one in parts:
        gates.put(one.pack())
    return together(
        [dataclass_json.loads(LoudnessTotals, dataclass_json.dumps(part)) for part, _ in parts],
        gates,
    )


PARTS = (sound(1, 20, 0.1), sound(2, 30, 1.0), sound(3, 10, 0.01))


@pytest.fixture(scope="module")
def whole() -> LoudnessTotals:
    """Three stretches of very different levels, put together."""
    return joined(*map(measured, PARTS))


def test_integrated_loudness_is_that_of_the_whole(whole: LoudnessTotals) -> None:
    """As pyloudnorm has it over the sound in one piece."""
    samples = np.concatenate(PARTS).astype(np.float64)
    for track in range(TRACKS):
        expected = pyloudnorm.Meter(RATE).integrated_loudness(samples[:, track])
        assert whole.integrated_lufs[track] == pytest.approx(expected, abs=LOUDNESS_LU)


def test_levels_are_those_of_the_whole(whole: LoudnessTotals) -> None:
    """Sample peak exactly; RMS by AES17 (a full-scale sine is 0 dBFS)."""
    samples = np.concatenate(PARTS).astype(np.float64)
    peak = 20.0 * np.log10(np.abs(samples).max(axis=0))
    np.testing.assert_allclose(whole.sample_peak_max_dbfs, peak, atol=1e-9)
    rms = 10.0 * np.log10(2.0 * np.mean(samples**2, axis=0))
    np.testing.assert_allclose(whole.rms_dbfs, rms, atol=1e-6)
    assert whole.measured_s == pytest.approx((60.0,) * TRACKS)


def test_maxima_are_the_largest_of_all(whole: LoudnessTotals) -> None:
    """No window reaches over a restart, so the largest of the parts is the whole's."""
    parts = [measured(part)[0] for part in PARTS]
    for name in ("momentary_max_lufs", "short_term_max_lufs", "true_peak_max_dbtp"):
        largest = np.max([getattr(part, name) for part in parts], axis=0)
        np.testing.assert_array_equal(getattr(whole, name), largest)


def test_one_stretch_is_told_as_the_meter_has_it() -> None:
    """Without a restart nothing is rounded into classes."""
    one, gates = measured(PARTS[1])
    assert joined((one, gates)) == one


BLOCKS = arrays(np.float64, st.integers(1, 60), elements=st.floats(-90.0, 10.0))


def gated(blocks: np.ndarray) -> float:
    """BS.1770-5 Annex 1, equations 5 to 7, as they stand there: both gates, on every block."""
    power = 10.0 ** ((blocks - OFFSET_LU) / 10.0)
    power, blocks = power[blocks > -70.0], blocks[blocks > -70.0]
    relative = 10.0 * np.log10(power.mean()) + OFFSET_LU - 10.0
    return float(10.0 * np.log10(power[blocks > relative].mean()) + OFFSET_LU)


@given(BLOCKS, st.integers(0, 60))
def test_gating_blocks_come_back_whatever_the_stretches(blocks: np.ndarray, cut: int) -> None:
    """However a night is cut, all its blocks count, each once; the sums are exact."""
    parts = [Gates(1), Gates(1), Gates(1)]
    for number, block in enumerate(blocks):
        parts[int(number >= cut)].add_block(np.array([block]))
        parts[2].add_block(np.array([block]))
    whole = Gates(1)
    for part in parts[:2]:
        whole.put(part.pack())
    np.testing.assert_array_equal(whole.count, parts[2].count)
    np.testing.assert_allclose(whole.energy, parts[2].energy, rtol=1e-12)


@given(BLOCKS.filter(lambda blocks: bool((blocks > -70.0).any())))
def test_the_classes_gate_as_the_standard_does(blocks: np.ndarray) -> None:
    """Only blocks within 0.1 LU of the relative gate may fall on its other side."""
    gates = Gates(1)
    for block in blocks:
        gates.add_block(np.array([block]))
    power = 10.0 ** ((blocks[blocks > -70.0] - OFFSET_LU) / 10.0)
    relative = 10.0 * np.log10(power.mean()) + OFFSET_LU - 10.0
    doubtful = np.abs(blocks - relative) <= 0.1
    if not doubtful.any():
        assert gates.integrated_lufs()[0] == pytest.approx(gated(blocks), abs=1e-6)


def test_gating_blocks_of_other_tracks_are_refused() -> None:
    """A blob that does not fit is a ValueError, not somebody else's loudness."""
    gates = Gates(3)
    gates.add_block(np.full(3, -20.0))
    with pytest.raises(ValueError, match="other tracks"):
        Gates(2).put(gates.pack())


def test_silence_is_no_level_and_lost_sound_unknown() -> None:
    """Digital zero has no loudness; a track never measured has none that is known."""
    nothing, gates = measured(np.zeros((RATE, TRACKS), dtype=np.float32))
    whole = joined((nothing, gates), (nothing, gates))
    assert whole.integrated_lufs == (-200.0,) * TRACKS
    feed = TotalsRecorder((1, 2), lambda: totals())
    feed.add(tick(0, valid=False))
    assert feed.stretch().measured_s == (0.0, 0.0)
