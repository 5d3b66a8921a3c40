"""On which tracks each cause can be put."""

from __future__ import annotations

import pytest

from engine.drill.targets import Target, targets_of
from engine.model.drill_causes import Cause
from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Track

MAIN, SAFETY = PackLevel.MAIN, PackLevel.SAFETY
TRACKS = (
    Track(1, kind=Kind.LAV, who="Foreman", level=MAIN, receiver="A"),
    Track(2, kind=Kind.LAV, who="Foreman", level=SAFETY, receiver="A"),
    Track(3, kind=Kind.LAV, who="Rigger", level=MAIN, receiver="B"),
    Track(4, kind=Kind.BOOM),
    Track(5, kind=Kind.AMBIENCE),
    Track(6, kind=Kind.COMMS),
    Track(7, kind=Kind.TIMECODE),
    Track(8, kind=Kind.UNUSED),
)


@pytest.mark.parametrize(
    ("cause", "expected"),
    [
        (Cause.MUTED, [(1,), (2,), (3,), (4,), (5,)]),
        (Cause.CLIPPED, [(1,), (2,), (3,), (4,)]),
        (Cause.RECEIVER, [(1, 2)]),
        (Cause.NOTHING, [(1, 2), (3,), (4,)]),
        (Cause.POLARITY, [(1, 2), (2, 1)]),
        (Cause.PAIR_DRIFT, [(1,), (2,)]),
        (Cause.DUPLICATE, [(1, 3), (1, 4), (3, 4)]),
        (Cause.TIMECODE, [(7,)]),
    ],
)
def test_targets(cause: Cause, expected: list[tuple[int, ...]]) -> None:
    """Each kind of track gets what can happen to it, and no more."""
    assert [target.tracks for target in targets_of(cause, TRACKS)] == expected


def test_what_lies_beside_is_named() -> None:
    """The other pack of a pair has to be left alone; a wrong patch has a source."""
    assert targets_of(Cause.PAIR_DRIFT, TRACKS)[0] == Target((1,), (2,))
    assert targets_of(Cause.DUPLICATE, TRACKS)[0] == Target((1, 3), (2,))
    assert [p.source for p in targets_of(Cause.UNEXPECTED, TRACKS)] == [1, 2, 3, 4]


def test_mains_are_swapped_where_both_have_a_safety() -> None:
    """Two pairs: their mains may change places, and the safeties are left alone."""
    main, safety = PackLevel.MAIN, PackLevel.SAFETY
    tracks = (
        Track(1, who="rigger", level=main),
        Track(2, who="rigger", level=safety),
        Track(3, who="ringer", level=main),
        Track(4, who="ringer", level=safety),
        Track(5, who="foreman"),
    )
    assert targets_of(Cause.SWAPPED, tracks) == (Target((1, 3), (2, 4)),)
    assert targets_of(Cause.SWAPPED, tracks[:2]) == ()


@pytest.mark.parametrize("cause", Cause)
def test_a_plan_without_such_tracks_has_no_target(cause: Cause) -> None:
    """Talkback alone: nothing can be put in."""
    assert targets_of(cause, (Track(1, kind=Kind.COMMS),)) == ()


def test_a_clock_tears_every_mic_where_there_are_five() -> None:
    """Two packs of one performer are one; talkback, code and unused inputs are left alone."""
    tracks = [
        *(Track(n, kind=Kind.LAV, who=f"Hauler {n // 2}") for n in (2, 3, 4, 5, 6, 7)),
        *(Track(8, kind=Kind.BOOM), Track(9, kind=Kind.AMBIENCE)),
        *(Track(10, kind=Kind.COMMS), Track(11, kind=Kind.TIMECODE), Track(12, kind=Kind.UNUSED)),
    ]
    assert targets_of(Cause.CLOCK, tracks) == (Target((2, 3, 4, 5, 6, 7, 8, 9)),)
    assert targets_of(Cause.CLOCK, tracks[:7]) == ()
