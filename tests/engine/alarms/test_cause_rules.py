"""Which tracks a plan knows to fail by one cause. Common practice, no source."""

from __future__ import annotations

import pytest

from engine.alarms.cause_rules import TOGETHER_S, WHOLE_INPUT, Cause, begun_together, causes
from engine.model.messages import Kind
from engine.model.tracks import Track

SAMPLE_S = 1 / 48_000


def tracks(*receivers: str) -> tuple[Track, ...]:
    """Body packs on those receivers."""
    return tuple(Track(input=n, receiver=r) for n, r in enumerate(receivers, start=1))


def test_receivers_and_the_whole_input() -> None:
    """Each receiver of two tracks or more is a cause, the whole input the widest of all."""
    found = causes(tracks("A", "A", "B", "B", "C", ""))
    assert found == (
        Cause(WHOLE_INPUT, (0, 1, 2, 3, 4, 5)),
        Cause("A", (0, 1)),
        Cause("B", (2, 3)),
    )


def test_a_receiver_that_carries_all_is_named() -> None:
    """Where one receiver carries every track, it is the cause, not the input."""
    assert causes(tracks("A", "A", "A")) == (Cause("A", (0, 1, 2)),)


def test_one_track_is_no_cause() -> None:
    """A single track never stands for a common cause."""
    assert causes(tracks("A")) == ()
    assert causes(tracks("")) == ()


def test_only_kinds_that_are_never_mute_by_nature_count() -> None:
    """Talkback, timecode and unused inputs neither make a cause nor hinder one."""
    quiet = tuple(
        Track(input=10 + n, kind=kind, receiver="A")
        for n, kind in enumerate((Kind.COMMS, Kind.TIMECODE, Kind.UNUSED))
    )
    assert causes((*tracks("A", "A"), *quiet)) == (Cause("A", (0, 1)),)


@pytest.mark.parametrize(
    ("apart_s", "together"),
    [(TOGETHER_S - SAMPLE_S, True), (TOGETHER_S, True), (TOGETHER_S + SAMPLE_S, False)],
)
def test_two_seconds_are_inclusive(apart_s: float, together: bool) -> None:
    """Onsets 2 s apart are one cause (CONTRACT.md), one sample more are not."""
    assert begun_together([(0.0, 9.0), (apart_s, 9.0), (apart_s / 2, 9.0)]) is together


def test_faults_that_never_stood_at_one_time_are_apart() -> None:
    """A track that was back before the next one failed shares no cause with it."""
    assert not begun_together([(0.0, 0.6), (1.0, 9.0)])
