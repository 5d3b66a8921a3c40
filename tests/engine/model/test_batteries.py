"""Battery times: the words of the plan, what is left, which end first.

When to warn, and that packs are changed in breaks: common practice, no source.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.batteries import WARN_S, Battery, ending, lasts_s, planned_end_s, put_in

HOUR_S = 3600.0


@pytest.mark.parametrize(
    ("words", "hours"),
    [("4h", 4.0), ("3h30", 3.5), ("90min", 1.5), ("12h05", 12 + 5 / 60), (" 4h ", 4.0)],
)
def test_words_of_the_plan_are_times(words: str, hours: float) -> None:
    """4h, 3h30 and 90min stand for the hours that a clock makes of them."""
    assert lasts_s(words) == pytest.approx(hours * HOUR_S)


@pytest.mark.parametrize("words", ["", "0h", "0min", "4", "h", "4 h", "3h60", "4h3", "-4h", "4d"])
def test_other_words_are_no_time(words: str) -> None:
    """What a plan would not take is no battery time, never a guess."""
    assert lasts_s(words) is None


@given(st.integers(1, 99), st.integers(0, 59))
def test_every_hour_and_minute_is_read(hours: int, minutes: int) -> None:
    """Hours with minutes are understood to the minute."""
    assert lasts_s(f"{hours}h{minutes:02}") == 60.0 * (60 * hours + minutes)


def test_left_and_age() -> None:
    """Left goes down by the clock to 0 and stays there; age goes up; unknown stays unknown."""
    four = Battery(7, 100.0, 4 * HOUR_S)
    assert four.left_s(100.0) == 4 * HOUR_S
    assert four.left_s(100.0 + HOUR_S) == 3 * HOUR_S
    assert four.left_s(100.0 + 5 * HOUR_S) == 0.0
    assert four.age_s(100.0 + HOUR_S) == HOUR_S
    assert Battery(7, 100.0).left_s(200.0) is None


def test_a_fresh_one_takes_the_old_ones_place() -> None:
    """Each track has one, the newest, which knows the old one's age; they are in input order."""
    made = put_in((), Battery(7, 0.0, 60.0))
    made = put_in(made, Battery(3, 5.0, 60.0))
    made = put_in(made, Battery(7, 9.0, 90.0))
    assert made == (Battery(3, 5.0, 60.0), Battery(7, 9.0, 90.0, before_s=9.0))


def test_those_that_end_soon_come_first_to_end_first() -> None:
    """Only those inside the time asked are told, the shortest first; unknown ones never."""
    some = (Battery(1, 0.0, 5000.0), Battery(2, 0.0, 1500.0), Battery(3, 0.0), Battery(4, 0.0, 100))
    assert [b.track for b in ending(some, 400.0, WARN_S)] == [4, 2]
    assert [b.track for b in ending(some, 200.0, WARN_S)] == [4]


@given(st.floats(0, 1e5), st.floats(0, 1e5), st.floats(60, 1e5))
def test_left_and_age_add_up(fresh_s: float, more_s: float, length_s: float) -> None:
    """Until the end, age and what is left are the whole battery."""
    one = Battery(1, fresh_s, length_s)
    now_s = fresh_s + min(more_s, length_s)
    left_s = one.left_s(now_s)
    assert left_s is not None
    assert left_s + one.age_s(now_s) == pytest.approx(length_s, abs=1e-6)


@pytest.mark.parametrize(
    ("ends", "midnight_h", "now_h", "in_h"),
    [("23:30", 20.0, 0.0, 3.5), ("1:00", 20.0, 2.0, 3.0), ("23:30", 20.0, 4.0, -0.5)],
)
def test_the_planned_end_is_the_nearest_of_that_time_of_day(
    ends: str, midnight_h: float, now_h: float, in_h: float
) -> None:
    """Over midnight as well; just past it is past, not a day ahead."""
    now_s = now_h * HOUR_S
    end_s = planned_end_s(ends, midnight_h * HOUR_S, now_s)
    assert end_s == pytest.approx(now_s + in_h * HOUR_S)
    assert planned_end_s("", 0.0, now_s) is None
    assert planned_end_s("24:00", 0.0, now_s) is None
