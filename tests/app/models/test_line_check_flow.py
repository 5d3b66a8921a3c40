"""When a line check goes on by itself, and to whom."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.models.line_check_flow import (
    Turn,
    is_clean,
    is_their_turn,
    left,
    same_person,
    speaker,
    turn_after,
)
from engine.model.line_results import Heard, LineCheck, LineResult, Verdict
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
VOICE = Heard(speech_s=6.0, speech_dbfs=-24.0, peak_dbfs=-13.0, floor_dbfs=-58.0)


def spoken(*loud: int) -> fake_client.Snapshot:
    """Those tracks 30 dB over their floor, all others on it."""
    level = np.full(len(PLAN.tracks), -57.0)
    level[[n - 1 for n in loud]] = -27.0
    return fake_client.snapshot(PLAN, level_dbfs=level)


def test_only_a_clean_track_goes_on_by_itself() -> None:
    """Enough, and nothing wrong; a fault found or too little speech waits for a person."""
    track = PLAN.tracks[0]
    assert is_clean(VOICE, track)
    assert not is_clean(replace(VOICE, clipped=True), track)
    assert not is_clean(replace(VOICE, speech_s=1.0), track)


def test_who_speaks_alone_is_chosen() -> None:
    """Both packs of one performer are one voice; two people at once are nobody's turn."""
    everyone = tuple(range(1, 13))
    assert speaker(PLAN, spoken(3, 4), everyone) == 3
    assert speaker(PLAN, spoken(3, 4), (4,)) == 4
    assert speaker(PLAN, spoken(1, 3), everyone) is None
    assert speaker(PLAN, spoken(), everyone) is None
    assert speaker(PLAN, spoken(3), (1, 2)) is None


def test_what_was_skipped_is_left() -> None:
    """All that did not pass is asked for at the end."""
    results = (
        LineResult(1, Verdict.PASSED, 1.0, "", VOICE),
        LineResult(2, Verdict.SKIPPED, 1.0, "", Heard()),
    )
    assert left(LineCheck((1, 2, 3), None, Heard(), results)) == (2, 3)


def test_who_speaks_on_gets_their_turn() -> None:
    """At once where nothing came yet; else not for a word from the side, and pauses are no end."""
    turn = turn_after(None, 3, 10.0)
    assert is_their_turn(turn, Heard())
    assert not is_their_turn(turn, VOICE)
    for now_s, number in ((10.4, None), (10.8, 3), (11.4, None)):
        turn = turn_after(turn, number, now_s)
        assert not is_their_turn(turn, VOICE)
    assert is_their_turn(turn_after(turn, 3, 11.6), VOICE)
    assert turn_after(turn, None, 12.5) is None
    assert turn_after(turn, 5, 11.6) == Turn(5, 11.6, 11.6)


def test_both_packs_are_one_person() -> None:
    """Who speaks into both packs does not take the turn from themselves."""
    assert same_person(PLAN, 3, 4)
    assert same_person(PLAN, 3, 3)
    assert not same_person(PLAN, 3, 5)
    assert not same_person(PLAN, 3, None)
