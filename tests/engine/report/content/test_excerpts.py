"""The sound around each onset, read from the take."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Block
from engine.model.units import rms_dbfs
from engine.pipeline.level_history import LevelHistory
from engine.report.content.excerpts import level_excerpts, read_excerpts
from engine.sources.base import EndOfTake, SourceInfo
from tests.support.sample_report import PLAN, incident, section
from tests.support.strategies import untimed

RATE = 1000
SECONDS = 60


class Take:
    """A take of known samples, read in blocks of odd lengths from any place on."""

    opened = 0

    def __init__(self, samples: np.ndarray, from_s: float) -> None:
        type(self).opened += 1
        self.info = SourceInfo("take", RATE, samples.shape[1], ("",) * samples.shape[1])
        self._samples = samples
        self._place = round(from_s * RATE)

    def read(self, timeout_s: float) -> Block:
        """The next 377 frames."""
        if self._place >= len(self._samples):
            raise EndOfTake
        block = self._samples[self._place : self._place + 377]
        self._place += 377
        return Block(block)

    def close(self) -> None:
        """Nothing to let go of."""


@pytest.fixture(scope="module")
def samples() -> np.ndarray:
    """A minute of noise on three tracks."""
    rng = np.random.default_rng(7)
    return (0.1 * rng.standard_normal((SECONDS * RATE, 3))).astype(np.float32)


@untimed
@given(st.lists(st.integers(0, SECONDS * 100 - 1), min_size=1, max_size=6), st.data())
def test_extremes_and_level_are_those_of_the_samples(
    samples: np.ndarray, onsets: list[int], data: st.DataObject
) -> None:
    """Each step of each picture holds what its own 10 ms of its own track hold; beyond, nothing."""
    faults = [
        incident(n, data.draw(st.integers(1, 3)), onset_s=onset / 100, end_s=SECONDS)
        for n, onset in enumerate(onsets)
    ]
    made = section(faults, duration_s=SECONDS).entries
    found = read_excerpts(made, lambda at_s: Take(samples, at_s))
    steps = samples.reshape(SECONDS * 100, 10, 3)
    for entry in made:
        one = found[entry.number]
        assert entry.track is not None
        first = round(entry.start_s * 100) - 500
        assert one.start_s == pytest.approx(first / 100)
        assert one.low is not None
        assert one.high is not None
        inside = [n for n in range(1000) if 0 <= first + n < len(steps)]
        outside = [n for n in range(1000) if n not in set(inside)]
        own = steps[[first + n for n in inside], :, entry.track.input - 1]
        np.testing.assert_array_equal(one.low[inside], own.min(axis=1))
        np.testing.assert_array_equal(one.high[inside], own.max(axis=1))
        assert np.isnan(one.low[outside]).all()


def test_the_level_is_the_rms(samples: np.ndarray) -> None:
    """Every tenth of a second has the AES17 RMS of its samples."""
    made = section([incident(onset_s=20.0)], duration_s=SECONDS).entries
    (one,) = read_excerpts(made, lambda at_s: Take(samples, at_s)).values()
    tenth = samples[17 * RATE : 17 * RATE + 100, 0]
    assert one.level_dbfs[20] == pytest.approx(rms_dbfs(np.mean(tenth**2)), abs=1e-3)


def test_samples_far_over_full_scale_have_a_level(samples: np.ndarray) -> None:
    """A float file may hold 1e30: its square is no float32, and no warning is printed."""
    made = section([incident(onset_s=20.0)], duration_s=SECONDS).entries
    loud = samples * np.float32(1e30)
    (one,) = read_excerpts(made, lambda at_s: Take(loud, at_s)).values()
    tenth = loud[17 * RATE : 17 * RATE + 100, 0].astype(np.float64)
    assert one.level_dbfs[20] == pytest.approx(rms_dbfs(np.mean(tenth**2)), abs=1e-3)


def test_what_lies_together_is_read_once(samples: np.ndarray) -> None:
    """Twenty faults within ten seconds open the take once; one far away once more."""
    faults = [incident(n, 1, onset_s=20.0 + n / 2) for n in range(20)]
    faults.append(incident(30, 1, onset_s=55.0))
    Take.opened = 0
    read_excerpts(section(faults, duration_s=SECONDS).entries, lambda at_s: Take(samples, at_s))
    assert Take.opened == 2


def test_where_in_the_take_the_stream_began(samples: np.ndarray) -> None:
    """A replay from 10 s on reads ten seconds later."""
    made = section([incident(onset_s=20.0)], duration_s=SECONDS).entries
    (one,) = read_excerpts(made, lambda at_s: Take(samples, at_s), from_s=10.0).values()
    assert one.low is not None
    assert one.low[500] == samples[30 * RATE : 30 * RATE + 10, 0].min()


def test_levels_alone_have_no_waveform() -> None:
    """From a level a second: those seconds, nothing before the first, and no waveform."""
    peak = np.arange(60.0, dtype=np.float32)[:, None] - 100.0
    history = LevelHistory(1.0, peak, peak.repeat(3, axis=1))
    made = section([incident(onset_s=5.0, end_s=9.0)], duration_s=SECONDS).entries
    (one,) = level_excerpts(made, PLAN, history).values()
    assert one.low is None
    assert one.start_s == -10.0
    assert np.isnan(one.level_dbfs[:10]).all()
    np.testing.assert_array_equal(one.level_dbfs[10:31], peak[:21, 0])
