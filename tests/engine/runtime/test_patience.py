"""What is overdue, in time that this process was running."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.runtime.patience import Patience

LOOK_S = 0.5


@given(st.lists(st.floats(0.0, LOOK_S), max_size=50))
def test_time_between_looks_adds_up(steps: list[float]) -> None:
    """While it runs, what waited is what the clock says."""
    patience, now_s = Patience(LOOK_S, 100.0), 100.0
    for step_s in steps:
        now_s += step_s
        patience.look(now_s)
    assert patience.waited_s == pytest.approx(now_s - 100.0)


@given(st.floats(LOOK_S, 1e6))
def test_a_standstill_of_any_length_counts_as_one_look(still_s: float) -> None:
    """Both sides stood still; then it goes on as before."""
    patience = Patience(LOOK_S, 0.0)
    assert patience.look(still_s) == LOOK_S
    assert patience.look(still_s + 0.1) == pytest.approx(LOOK_S + 0.1)


def test_a_sign_ends_the_waiting() -> None:
    """And a clock that were to go back would not shorten it."""
    patience = Patience(LOOK_S, 10.0)
    patience.look(10.4)
    assert patience.look(10.2) == pytest.approx(0.4)
    patience.came()
    assert patience.waited_s == 0.0
    assert patience.look(10.5) == pytest.approx(0.3)
