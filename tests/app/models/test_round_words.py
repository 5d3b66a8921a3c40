"""A round in words."""

from __future__ import annotations

import pytest

from app.models import round_words
from engine.model.round_state import Heard, RoundState
from engine.model.tracks import Plan, Track

PLAN = Plan((Track(3, "Boom deck"), Track(4, "Pack B", who="rigger")))


@pytest.mark.parametrize(
    ("state", "title", "left", "due"),
    [
        (RoundState(), "", "", ""),
        (RoundState(3, 4.2, due=(4, 5, 6, 7)), "3  Boom deck", "5 s", "4 more: 4, 5, 6 …"),
        (RoundState(4, 0.0), "4  Pack B · rigger", "till they pause", "last of this round"),
        (RoundState(4, 0.0, staying=True, due=(3,)), "4  Pack B · rigger", "staying", "1 more: 3"),
    ],
)
def test_the_bar_says(state: RoundState, title: str, left: str, due: str) -> None:
    """What plays, how long still, what comes."""
    assert round_words.title(state, PLAN) == title
    assert round_words.left(state) == left
    assert round_words.due(state) == due


def test_when_a_track_was_heard_and_what_was_said() -> None:
    """Minutes ago; a doubt with its word; nothing where nobody listened."""
    listened = (Heard(3, 0.0, 8.0), Heard(4, 10.0, 18.0, right=False, word="rustle"))
    assert round_words.heard(listened, 3, 728.0) == "heard 12 min ago"
    assert round_words.heard(listened, 4, 78.0) == "heard 1 min ago · doubt: rustle"
    assert round_words.heard(listened, 5, 78.0) == ""
