"""Alarms and the pack that still covers a performer."""

from __future__ import annotations

import pytest

from engine.alarms import operator
from engine.model.messages import Fault, Severity
from tests.support.alarm_desk import Desk


def test_the_healthy_pack_is_named(desk: Desk) -> None:
    """A fault on one pack of a performer names the other, until that fails too."""
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    assert desk.alarm(Fault.MUTED, 1).incident.covered_by == 2
    desk.fail(Fault.MUTED, 2)
    desk.run(1.0)
    for track in (1, 2):
        incident = desk.alarm(Fault.MUTED, track).incident
        assert incident.covered_by is None
        assert incident.uncovered


def test_clipping_is_red_only_without_cover(desk: Desk) -> None:
    """Clipping that goes on stays amber while the safety is clean, and is red once it is not."""
    desk.fail(Fault.CLIPPED, 1)
    desk.run(10.0)
    assert desk.alarm(Fault.CLIPPED, 1).incident.severity is Severity.AMBER
    desk.fail(Fault.MUTED, 2)
    desk.run(0.7)
    incident = desk.alarm(Fault.CLIPPED, 1).incident
    assert incident.severity is Severity.RED
    assert incident.uncovered


@pytest.mark.parametrize("track", [3, 5])
def test_clipping_without_a_second_pack_goes_red(desk: Desk, track: int) -> None:
    """A single pack or a boom has no cover, so clipping that goes on is red."""
    desk.fail(Fault.CLIPPED, track, may_be_red=False)
    desk.run(1.0)
    assert desk.alarm(Fault.CLIPPED, track).incident.severity is Severity.AMBER
    desk.fail(Fault.CLIPPED, track, may_be_red=True)
    desk.run(0.2)
    assert desk.alarm(Fault.CLIPPED, track).incident.severity is Severity.RED


def test_nothing_is_covered_while_the_input_is_lost(desk: Desk) -> None:
    """Without an input no pack is healthy; once it is back they are again."""
    desk.fail(Fault.INPUT_LOST)
    desk.run(0.1)
    assert [cover.healthy for cover in desk.book.covers()] == [(), ()]
    assert desk.alarm(Fault.INPUT_LOST, None).incident.uncovered
    desk.mend(Fault.INPUT_LOST)
    desk.run(0.1)
    assert [cover.healthy for cover in desk.book.covers()] == [(1, 2), (3,)]


def test_a_pack_out_of_service_covers_nobody(desk: Desk) -> None:
    """A pack that the crew took out is not offered as cover."""
    operator.out_of_service(desk.book, 2, True, 0.0)
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    assert desk.alarm(Fault.MUTED, 1).incident.uncovered


def test_lost_numbers_spoil_a_pack(desk: Desk) -> None:
    """A pack whose samples are no numbers covers nobody."""
    desk.fail(Fault.SAMPLES_LOST, 2, may_be_red=False)
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    assert desk.alarm(Fault.MUTED, 1).incident.covered_by is None
