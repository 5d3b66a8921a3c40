"""When the log needs a label: turns of a course, from rate and clock alone."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.frame_rates import FRAME_RATES, label_at
from engine.session.label_course import LabelCourse


def course_of(word: str, ahead_s: Callable[[float], float]) -> LabelCourse:
    """Labels that are so far ahead of the stream time."""
    rate = FRAME_RATES[word]
    return LabelCourse(lambda at_s: label_at(at_s + ahead_s(at_s), rate), rate)


@given(
    word=st.sampled_from(sorted(FRAME_RATES)),
    begin_s=st.floats(1.5, 8.5),
    jump_s=st.floats(-40_000.0, 40_000.0).filter(lambda s: abs(s) > 0.2),
)
def test_a_jump_is_told_where_it_was(word: str, begin_s: float, jump_s: float) -> None:
    """Asked once a second, it says the moment from which labels count anew, and nothing else."""
    course = course_of(word, lambda at_s: 43_200.0 + (jump_s if at_s >= begin_s else 0.0))
    turns = [course.turn(float(at_s)) for at_s in range(20)]
    assert turns[0] == 0.0
    told = [turn for turn in turns[1:] if turn is not None]
    assert told == [pytest.approx(begin_s, abs=0.045)]


@pytest.mark.parametrize("word", sorted(FRAME_RATES))
def test_labels_that_count_on_need_no_row(word: str) -> None:
    """Two hours over midnight, drop-frame too."""
    course = course_of(word, lambda _: 80_000.0)
    turns = [course.turn(float(at_s)) for at_s in range(7200)]
    assert turns[1:] == [None] * 7199


def test_code_on_another_clock_has_a_row_whenever_it_is_two_frames_off() -> None:
    """100 ppm are 0.36 s an hour, nine frames of 25 a second: a row for every second frame."""
    course = course_of("25", lambda at_s: 43_200.0 + 1e-4 * at_s)
    turns = [course.turn(float(at_s)) for at_s in range(3600)]
    assert 4 <= sum(turn is not None for turn in turns[1:]) <= 6


def test_the_first_row_is_of_the_begin_where_labels_count_from_there() -> None:
    """Code that was there from the first frame on labels it; code that came later does not."""
    rate = FRAME_RATES["25"]
    there = LabelCourse(lambda at_s: label_at(3600.0 + at_s, rate), rate, 5.0)
    assert there.turn(6.0) == 5.0
    late = LabelCourse(lambda at_s: label_at(at_s + 3600.0 * (at_s > 5.5), rate), rate, 5.0)
    assert late.turn(6.0) == 6.0


def test_what_is_no_label_is_passed_over() -> None:
    """A label that drop-frame leaves out ends nothing."""
    course = LabelCourse(lambda _: "00:01:00:00", FRAME_RATES["29.97df"])
    assert course.turn(1.0) is None
