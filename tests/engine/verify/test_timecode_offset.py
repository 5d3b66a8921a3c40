"""How far a take's labels are ahead of the session's, from labels alone."""

from __future__ import annotations

import pytest

from engine.model.frame_rates import FRAME_RATES, label_at
from engine.verify.follow import Course
from engine.verify.timecode_offset import frames_ahead

RATE = FRAME_RATES["25"]


@pytest.mark.parametrize("ahead", [0, 1, -3, 90_000, -90_000])
def test_frames_ahead_are_counted(ahead: int) -> None:
    """Wherever in a frame the take begins; by an hour either way too."""
    take = lambda at_s: label_at(43_200.0 + at_s + ahead / 25, RATE)  # noqa: E731
    session = lambda at_s: label_at(43_200.0 + at_s - 10.013, RATE)  # noqa: E731
    course = Course(10.013, None, ())
    assert frames_ahead(take, session, course, 60.0, RATE) == ahead


def test_code_that_came_a_moment_late_moves_nothing() -> None:
    """For a tenth of a second the session went by the time of day: hours away."""
    take = lambda at_s: label_at(43_200.0 + at_s, RATE)  # noqa: E731
    session = lambda at_s: label_at(at_s + 43_200.0 * (at_s > 0.1), RATE)  # noqa: E731
    assert frames_ahead(take, session, Course(0.0, None, ()), 60.0, RATE) == 0
