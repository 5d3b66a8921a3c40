"""The last two minutes, column by column."""

from __future__ import annotations

import numpy as np
import pytest

from engine.measure.meter import Meter
from engine.model.messages import Measurement
from engine.model.snapshot import RIBBON_COLUMNS, RIBBON_STEP_S
from engine.model.units import FLOOR_DB
from engine.pipeline.level_strip import LevelStripRecorder
from tests.support.signals import scene, sine

NONE = np.zeros(1, dtype=np.uint8)
RED = np.full(1, 2, dtype=np.uint8)


@pytest.fixture(scope="module")
def tick() -> Measurement:
    """One tick of a sine that peaks at -6 dBFS."""
    return Meter(scene()).update(sine(-6.0, 0.1, 48_000))


def test_four_ticks_fill_a_column(tick: Measurement) -> None:
    """Ticks of 0.1 s share a column of 0.4 s; the newest column is the last."""
    recorder = LevelStripRecorder(1)
    for n in range(1, 6):
        recorder.add(tick if n <= 4 else None, NONE, n * 0.1)
    ribbon = recorder.ribbon()
    assert ribbon.level_dbfs.shape == (RIBBON_COLUMNS, 1)
    assert ribbon.level_dbfs[-2, 0] == pytest.approx(-6.0, abs=0.01)
    assert ribbon.level_dbfs[-1, 0] == FLOOR_DB
    assert ribbon.end_s == pytest.approx(0.5)


def test_the_worst_severity_of_a_column_stays(tick: Measurement) -> None:
    """A column keeps the worst severity that stood in it."""
    recorder = LevelStripRecorder(1)
    recorder.add(tick, RED, 0.1)
    recorder.add(tick, NONE, 0.2)
    assert recorder.ribbon().severity[-1, 0] == 2


def test_time_that_was_skipped_is_blank(tick: Measurement) -> None:
    """A gap moves the ribbon on by its length, and nothing is drawn in it."""
    recorder = LevelStripRecorder(1)
    recorder.add(tick, RED, 0.4)
    recorder.add(tick, NONE, 40.4)
    level, severity = recorder.ribbon().level_dbfs[:, 0], recorder.ribbon().severity[:, 0]
    heard = np.flatnonzero(level > FLOOR_DB)
    assert heard.tolist() == [RIBBON_COLUMNS - 1 - round(40 / RIBBON_STEP_S), RIBBON_COLUMNS - 1]
    assert np.flatnonzero(severity).tolist() == [heard[0]]


def test_a_gap_longer_than_the_ribbon_leaves_it_blank(tick: Measurement) -> None:
    """After a gap of more than two minutes only the newest column shows anything."""
    recorder = LevelStripRecorder(1)
    for n in range(1, 2000):
        recorder.add(tick, RED, n * 0.1)
    recorder.add(tick, NONE, 4000.0)
    assert np.flatnonzero(recorder.ribbon().level_dbfs[:, 0] > FLOOR_DB).tolist() == [299]
    assert not recorder.ribbon().severity.any()
