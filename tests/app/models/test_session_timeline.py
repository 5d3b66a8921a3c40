"""A session as a time line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from app.models.session_timeline import (
    UNKNOWN_DBFS,
    Filter,
    SessionTimeline,
    neighbour,
    pooled,
    read_timeline,
    shown,
)
from engine.model.commands import Open
from engine.model.messages import Severity
from tests.support.sample_session import SessionWriter, crew_plan, many_incidents

PLAN = crew_plan()


@pytest.fixture
def timeline(tmp_path: Path) -> SessionTimeline:
    """Ten minutes of a take of 16 tracks, from 21:00:00 on."""
    writer = SessionWriter(tmp_path / "s", PLAN, live=False, request=Open(take="gone.wav"))
    with writer.at_once():
        writer.run(0.0, 600.0)
        writer.levels(600)
        writer.mark("second attempt", 200.0)
        for one in many_incidents(PLAN, 20, 600.0):
            writer.incident(one)
        writer.plan(300.0, replace(PLAN, tracks=(replace(PLAN.tracks[0], name="Crane"),)))
    writer.close()
    found = read_timeline(tmp_path / "s")
    assert isinstance(found, SessionTimeline)
    return found


def test_the_loudest_stays_however_far_one_zooms_out() -> None:
    """A column is as loud as its loudest second; what was not measured stays unknown."""
    peaks = np.full((100, 2), -60.0, dtype=np.float32)
    peaks[41, 1] = -3.0
    for width in (7, 50, 100, 400):
        made = pooled(peaks, 0.0, 100.0, width)
        assert made.shape == (width, 2)
        assert made[:, 1].max() == pytest.approx(-3.0)
        assert made[:, 0].max() == pytest.approx(-60.0)
    assert pooled(peaks, 50.0, 150.0, 10)[-1, 0] == UNKNOWN_DBFS
    assert pooled(peaks[:0], 0.0, 10.0, 5).max() == UNKNOWN_DBFS


def test_a_typed_time_is_found(timeline: SessionTimeline) -> None:
    """Minutes, seconds or a whole label; what the session has not, or is no time, is none."""
    assert timeline.clock(0.0) == "21:00:00"
    assert timeline.moment("21:04") == 240.0
    assert timeline.moment("21:04:30") == 270.0
    assert timeline.moment("21:04:30:12") == 270.0
    assert timeline.moment("2104") == 240.0
    assert timeline.moment("210430") == 270.0
    assert timeline.moment("22:30") is None
    assert timeline.moment("when it rang") is None
    assert timeline.moment("25:00") is None


def test_filters_hold_together(timeline: SessionTimeline) -> None:
    """By performer, fault and priority."""
    everything = shown(timeline, Filter())
    assert len(everything) == 20
    reds = shown(timeline, Filter(least=Severity.RED))
    assert {one.severity for one in reds} == {Severity.RED}
    mine = shown(timeline, Filter(who="Rigger"))
    assert {one.track for one in mine} <= {3, 4}
    fault = everything[0].fault.value
    assert {one.fault.value for one in shown(timeline, Filter(fault=fault))} == {fault}


def test_neighbours_are_next_and_before(timeline: SessionTimeline) -> None:
    """From any moment to the next onset and back; beyond the ends there is none."""
    first, second = timeline.incidents[:2]
    assert neighbour(timeline.incidents, 0.0, 1) is first
    assert neighbour(timeline.incidents, first.onset_s, 1) is second
    assert neighbour(timeline.incidents, second.onset_s, -1) is first
    assert neighbour(timeline.incidents, 0.0, -1) is None
    assert neighbour(timeline.incidents, 600.0, 1) is None


def test_the_plan_is_that_of_the_moment(timeline: SessionTimeline) -> None:
    """What was renamed later had its old name before."""
    assert timeline.plan_at(100.0).track(1).name == PLAN.tracks[0].name
    assert timeline.plan_at(400.0).track(1).name == "Crane"
    assert timeline.take is None, "it no longer lies on the disk"


def test_what_the_watch_could_not_do_is_named_with_its_time(tmp_path: Path) -> None:
    """The newest few, and how many came before; a session without any says nothing."""
    writer = SessionWriter(tmp_path / "s", PLAN, live=False, request=Open(take="gone.wav"))
    with writer.at_once():
        writer.run(0.0, 600.0)
        writer.levels(600)
        for n in range(6):
            writer.problem(f"hum can't judge: \x1b[31m{n}", 60.0 * n)
    writer.close()
    found = read_timeline(tmp_path / "s")
    assert isinstance(found, SessionTimeline)
    words = found.problem_words
    assert words.startswith("2 before these · 21:02:00 hum can't judge: ?[31m2 · 21:03:00 ")
    assert "\x1b" not in words


def test_a_session_in_good_order_names_no_problem(timeline: SessionTimeline) -> None:
    """Then there is nothing to say."""
    assert timeline.problem_words == ""
