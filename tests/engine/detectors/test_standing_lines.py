"""Lines that stand are counted as one would by hand, look by look and line by line."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.standing_lines import standing
from engine.detectors.tone_company import LOOKS, Look

SAME, STEADY_DB = 0.003, 2.0

lines = st.lists(
    st.tuples(st.sampled_from([500.0, 501.0, 503.0, 1000.0, 3000.0]), st.floats(-60.0, -20.0)),
    max_size=4,
)


def look(tick: int, found: list[tuple[float, float]]) -> Look:
    """One look that shows those frequencies at those levels."""
    hz, level_dbfs = np.array(found).reshape(-1, 2).T
    return Look(tick, 0.1 * tick, hz, level_dbfs)


@given(st.lists(lines, min_size=1, max_size=LOOKS + 3), st.integers(1, LOOKS))
def test_a_line_stands_where_enough_of_the_newest_looks_have_it(
    found: list[list[tuple[float, float]]], least: int
) -> None:
    """In each of the newest eight it is there or not; lines of the newest look are asked about."""
    looks = [look(tick, each) for tick, each in enumerate(found)]
    by_hand = [
        n
        for n, (hz, dbfs) in enumerate(found[-1])
        if least
        <= sum(
            any(
                abs(other_hz / hz - 1.0) <= SAME and abs(other_dbfs - dbfs) <= STEADY_DB
                for other_hz, other_dbfs in each
            )
            for each in found[-LOOKS:]
        )
    ]
    newest = looks[-1]
    assert by_hand == standing(
        looks, newest.hz, newest.level_dbfs, same=SAME, steady_db=STEADY_DB, least=least
    )
