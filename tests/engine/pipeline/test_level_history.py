"""One-second levels of a take, in bounded memory."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Measurement
from engine.model.units import amplitude_db
from engine.pipeline.level_history import HistoryRecorder
from tests.support.strategies import untimed

TICK_S = 0.1
TRACKS = 2


def tick(number: int, peak: np.ndarray, momentary: float = -30.0) -> Measurement:
    """One tick whose last hop has that peak on each track, the sign alternating."""
    hops = np.zeros((10, TRACKS))
    hops[-1] = peak
    nothing = np.full(TRACKS, np.nan)
    return Measurement(
        start_s=number * TICK_S,
        end_s=(number + 1) * TICK_S,
        hop_s=0.01,
        samples=np.zeros((1, TRACKS), dtype=np.float32),
        peak_max=hops if number % 2 else 0 * hops,
        peak_min=0 * hops if number % 2 else -hops,
        mean_square=hops**2,
        valid=np.ones((10, TRACKS), dtype=np.bool_),
        lost=np.zeros(TRACKS, dtype=np.int64),
        momentary_lufs=np.full(TRACKS, momentary),
        short_term_lufs=nothing,
        level_dbfs=nothing,
        floor_dbfs=nothing,
        presence_dbfs=nothing,
        present=np.zeros(TRACKS, dtype=np.bool_),
        any_valid=np.ones(TRACKS, dtype=np.bool_),
        all_valid=True,
        peak=hops,
        speech=np.zeros((10, TRACKS), dtype=np.bool_),
        dc_offset=np.zeros(TRACKS),
        source_stopped=np.zeros(TRACKS, dtype=np.bool_),
        gain_step_db=np.zeros(TRACKS),
        decimated=np.zeros((TRACKS, 1), dtype=np.float32),
        difference_energy=np.zeros((10, TRACKS), dtype=np.float32),
        sibilance_energy=np.zeros((10, TRACKS), dtype=np.float32),
    )


@untimed
@given(st.integers(1, 400), st.integers(0, 2**16), st.sampled_from([2, 6, 16, 100]))
def test_each_column_holds_the_highest_of_its_time(ticks: int, seed: int, most: int) -> None:
    """However often columns were joined, each holds the highest peak of all ticks inside it."""
    peaks = np.random.default_rng(seed).uniform(0.001, 1.0, (ticks, TRACKS))
    recorder = HistoryRecorder(TRACKS, most)
    for number, peak in enumerate(peaks):
        recorder.add(tick(number, peak))
    history = recorder.history()
    per_column = round(history.step_s / TICK_S)
    expected = [
        peaks[start : start + per_column].max(axis=0) for start in range(0, ticks, per_column)
    ]
    assert len(history.sample_peak_dbfs) <= most
    np.testing.assert_allclose(history.sample_peak_dbfs, amplitude_db(expected), atol=1e-4)


def test_what_was_not_measured_is_unknown() -> None:
    """Seconds in which nothing came are NaN, not silence; digital zero is the floor."""
    recorder = HistoryRecorder(TRACKS)
    recorder.add(tick(0, np.zeros(TRACKS), np.nan))
    recorder.add(tick(25, np.full(TRACKS, 0.5)))
    history = recorder.history()
    assert history.sample_peak_dbfs[0] == pytest.approx(-200.0)
    assert np.isnan(history.momentary_max_lufs[0]).all()
    assert np.isnan(history.sample_peak_dbfs[1]).all()
    assert history.sample_peak_dbfs[2] == pytest.approx(-6.02, abs=0.01)
