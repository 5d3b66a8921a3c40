"""Stretches with and without a take."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from engine.verify.take_coverage import SHORTEST_S, not_taken, without

SPANS = st.lists(
    st.tuples(st.integers(0, 100), st.integers(0, 100)).map(lambda ab: (min(ab), max(ab) + 1)),
    max_size=5,
)


@given(SPANS, SPANS)
def test_what_is_left_is_in_the_one_and_not_in_the_other(
    spans: list[tuple[int, int]], taken: list[tuple[int, int]]
) -> None:
    """Moment by moment, as plain sets have it."""
    left = without([(float(a), float(b)) for a, b in spans], taken)
    for moment in range(102):
        at = moment + 0.5
        within = any(a <= at < b for a, b in spans) and not any(a <= at < b for a, b in taken)
        assert within == any(a <= at < b for a, b in left)


def test_a_moment_between_two_takes_is_no_missing_take() -> None:
    """Less than it takes to press the key is not told; a little more is."""
    rolling = [(0.0, 100.0)]
    assert not_taken(rolling, [(0.0, 50.0), (50.0 + 0.9 * SHORTEST_S, 100.0)]) == ()
    assert not_taken(rolling, [(0.0, 50.0), (53.0, 100.0)]) == ((50.0, 53.0),)
