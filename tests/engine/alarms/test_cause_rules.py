"""Which tracks a plan knows to fail by one cause. Common practice, no source."""

from __future__ import annotations

import pytest

from engine.alarms.cause_rules import (
    FAMILIES,
    SUPPRESSION,
    TOGETHER_S,
    WHOLE_INPUT,
    Cause,
    Speaker,
    causes,
    common_onset_s,
    rule_for,
    suppresses,
)
from engine.model.fault_remedies import FAULTS
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
        Cause(Speaker.INPUT, WHOLE_INPUT, (0, 1, 2, 3, 4, 5)),
        Cause(Speaker.RECEIVER, "A", (0, 1)),
        Cause(Speaker.RECEIVER, "B", (2, 3)),
    )


def test_a_receiver_that_carries_all_is_named() -> None:
    """Where one receiver carries every track, it is the cause, not the input."""
    assert causes(tracks("A", "A", "A")) == (Cause(Speaker.RECEIVER, "A", (0, 1, 2)),)


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
    assert causes((*tracks("A", "A"), *quiet)) == (Cause(Speaker.RECEIVER, "A", (0, 1)),)


@pytest.mark.parametrize(
    ("apart_s", "together"),
    [(TOGETHER_S - SAMPLE_S, True), (TOGETHER_S, True), (TOGETHER_S + SAMPLE_S, False)],
)
def test_two_seconds_are_inclusive(apart_s: float, together: bool) -> None:
    """Onsets 2 s apart are one cause (CONTRACT.md), one sample more are not."""
    onset_s = common_onset_s([(0.0, 9.0), (apart_s, 9.0)], TOGETHER_S)
    assert onset_s == (0.0 if together else None)


def test_faults_that_never_stood_at_one_time_are_apart() -> None:
    """A track that was back before the next one failed shares no cause with it."""
    assert common_onset_s([(0.0, 0.6), (1.0, 9.0)], TOGETHER_S) is None


def test_a_track_in_fault_before_says_nothing_against_a_cause() -> None:
    """Three that began together outweigh one that stood already, two do not outweigh two."""
    new = [(60.0, 70.0), (60.4, 70.0), (61.0, 70.0)]
    assert common_onset_s([(3.0, 70.0), *new], TOGETHER_S) == 60.0
    assert common_onset_s([(3.0, 70.0), (20.0, 70.0), *new[:2]], TOGETHER_S) is None


def test_the_table_is_without_a_circle() -> None:
    """No alarm can suppress what suppresses it, so that one of them is always shown."""
    width = {Speaker.TRACK: 0, Speaker.RECEIVER: 1, Speaker.INPUT: 2}
    for rule in SUPPRESSION:
        assert all(width[target] < width[rule.source] for target in rule.targets)


def test_all_tracks_of_a_cause_are_always_enough() -> None:
    """No rule asks for more than all of them, and nearly all is less than what it asks else."""
    for rule in SUPPRESSION:
        assert 0.0 < rule.share <= 1.0
        assert rule.nearly is None or 0.5 < rule.nearly < rule.share


def test_each_cause_has_at_most_one_rule_a_family() -> None:
    """For one family a cause has one rule, and the table speaks of families that exist."""
    pairs = [(rule.source, family) for rule in SUPPRESSION for family in rule.families]
    assert len(set(pairs)) == len(pairs)
    assert set(FAMILIES) <= {rule.group for rule in FAULTS}


def test_the_input_suppresses_receivers_and_tracks_and_a_receiver_its_tracks() -> None:
    """What the table says is what the two questions to it answer."""
    whole, rack, _ = causes(tracks("A", "A", "B", "B"))
    assert suppresses(whole, Speaker.RECEIVER, "loss")
    assert suppresses(whole, Speaker.TRACK, "loss")
    assert suppresses(rack, Speaker.TRACK, "loss")
    assert not suppresses(rack, Speaker.RECEIVER, "loss")
    assert rule_for(rack, "clipped") is None
    assert not suppresses(rack, Speaker.TRACK, "clipped")
