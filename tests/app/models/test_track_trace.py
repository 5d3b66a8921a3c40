"""The window's own two minutes of levels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.models.track_trace import SPAN_S, STEPS, Trace, peaks, spans
from engine.model.messages import Severity
from engine.model.snapshot import RIBBON_COLUMNS, RIBBON_STEP_S
from engine.model.units import FLOOR_DB
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()


def test_keeps_two_minutes_ten_a_second() -> None:
    """Snapshots 20 a second for three minutes leave the last 120 s, 0.1 s apart, oldest first."""
    shot = fake_client.snapshot(PLAN)
    trace = Trace(12)
    for n in range(3600):
        level = np.full(12, -float(n % 60))
        trace.add(replace(shot, now_s=n * 0.05, level_dbfs=level))
    at_s, level = trace.level(3, 3599 * 0.05)
    assert len(at_s) == pytest.approx(STEPS, abs=1)
    assert at_s[0] >= -SPAN_S
    assert np.diff(at_s) == pytest.approx(0.1)
    newest = round((at_s[-1] + 3599 * 0.05) / 0.05)
    assert level[-1] == -float(newest % 60)


def test_peaks_are_the_ribbons() -> None:
    """The last column ends now; columns without sound are left open, not drawn as silence."""
    shot = fake_client.snapshot(PLAN)
    shot.ribbon.level_dbfs[5, 0] = FLOOR_DB
    at_s, level = peaks(shot, 0)
    assert (len(at_s), at_s[-1]) == (RIBBON_COLUMNS, 0.0)
    assert at_s[0] == pytest.approx(-(RIBBON_COLUMNS - 1) * RIBBON_STEP_S)
    assert np.isnan(level[5])


def test_spans_are_where_severity_stood() -> None:
    """Amber for ten columns, then red to the end, are two spans that meet."""
    shot = fake_client.snapshot(PLAN)
    column = shot.ribbon.severity[:, 2]
    column[:] = 0
    column[-30:-20], column[-20:] = Severity.AMBER, Severity.RED
    amber, red = spans(shot, 2)
    assert amber == pytest.approx((-30 * RIBBON_STEP_S, -20 * RIBBON_STEP_S, 1))
    assert red == pytest.approx((-20 * RIBBON_STEP_S, 0.0, 2))
    assert spans(fake_client.snapshot(PLAN), 0) == ()
