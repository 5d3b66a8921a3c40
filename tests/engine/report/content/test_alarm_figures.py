"""Alarm figures. Bounds: ANSI/ISA-18.2-2016 16.4 as public summaries state them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Fault, Severity
from engine.report.content.alarm_figures import alarm_figures, floods
from tests.support.sample_report import incident

times = st.lists(st.integers(0, 4000), max_size=60).map(lambda t: sorted(float(x) for x in t))


def flooded_by_hand(times_s: list[float], duration_s: int) -> list[tuple[float, float]]:
    """Walks second by second: begins above 10 in ten minutes, ends below 5."""
    found, begun = [], None
    for now in range(duration_s + 1):
        count = sum(now - 600 <= t <= now for t in times_s)
        if begun is None and count > 10 and now in times_s:
            begun = now
        elif begun is not None and count < 5:
            found.append((float(begun), float(now)))
            begun = None
    if begun is not None:
        found.append((float(begun), float(duration_s)))
    return found


@given(times)
def test_floods_agree_with_walking_through(times_s: list[float]) -> None:
    """Floods begin and end where a walk second by second finds them, to the second."""
    found = floods(times_s, 4700.0)
    expected = flooded_by_hand(times_s, 4700)
    assert [f.start_s for f in found] == [start for start, _ in expected]
    assert [f.end_s for f in found] == pytest.approx([end for _, end in expected], abs=1.0)


def test_ten_in_ten_minutes_are_no_flood_and_eleven_are() -> None:
    """The bound is above ten."""
    assert floods([float(t) for t in range(10)], 3600.0) == ()
    (flood,) = floods([float(t) for t in range(11)], 3600.0)
    assert (flood.start_s, flood.alarms) == (10.0, 1)


def test_rate_shares_and_answers() -> None:
    """Alarms an hour, red among them, and how long it took to answer those that were."""
    alarms = [
        incident(1, 1),
        incident(2, 2, amber_s=200.5, severity=Severity.AMBER, red_s=None),
        incident(3, 3, amber_s=300.0),
    ]
    figures = alarm_figures(alarms, {1: 104.5, 2: 202.5}, 1800.0)
    assert (figures.alarms, figures.red, figures.per_hour) == (3, 2, 6.0)
    assert (figures.answered, figures.answer_median_s, figures.answer_longest_s) == (2, 3.0, 4.0)


def test_what_a_cause_speaks_for_is_not_counted_again() -> None:
    """Alarms that are part of a receiver's alarm, and such as were never raised, do not count."""
    alarms = [
        incident(1, None, tracks=(1, 2)),
        incident(2, 1, part_of="A"),
        incident(3, 3, amber_s=None, red_s=None),
    ]
    assert alarm_figures(alarms, {}, 600.0).alarms == 1


def test_chattering_is_three_in_a_minute() -> None:
    """The same fault of the same track, three times within a minute; not two, and not slower."""

    def raised(*at_s: float) -> int:
        alarms = [incident(n, 1, fault=Fault.DROPOUT, amber_s=t) for n, t in enumerate(at_s)]
        return len(alarm_figures(alarms, {}, 600.0).chattering)

    assert raised(0.0, 30.0, 60.0) == 1
    assert raised(0.0, 30.0) == 0
    assert raised(0.0, 31.0, 62.0) == 0


def test_nothing_happened() -> None:
    """No alarm and no length: no figure is made up."""
    figures = alarm_figures([], {}, 0.0)
    assert figures.per_hour is None
    assert figures.answer_median_s is None
    assert figures.most_in_10_min == 0
