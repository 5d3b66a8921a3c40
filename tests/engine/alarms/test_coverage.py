"""Who is covered, and by which pack (CONTRACT.md).

That the second pack of a performer stands in for the first: common practice, no source.
"""

from __future__ import annotations

from engine.alarms.coverage import Coverage
from engine.model.messages import Kind, PackLevel
from engine.model.snapshot import Cover
from engine.model.tracks import Track

TRACKS = (
    Track(1, who="foreman", level=PackLevel.SAFETY),
    Track(2, who="foreman", level=PackLevel.MAIN),
    Track(3, who="rigger"),
    Track(4, kind=Kind.BOOM, who="deck"),
    Track(5),
    Track(6),
)
SAFETY, MAIN, SINGLE, BOOM, NOBODY, NOBODY_TOO = range(6)


def test_the_other_pack_covers() -> None:
    """The healthy pack of the same `who` covers the other, whichever is which."""
    coverage = Coverage(TRACKS)
    assert coverage.cover_of(MAIN, {MAIN}) == 1
    assert coverage.cover_of(SAFETY, {SAFETY}) == 2


def test_a_spoiled_pack_covers_nobody() -> None:
    """With both packs spoiled there is no cover, and the performer is uncovered."""
    coverage = Coverage(TRACKS)
    assert coverage.cover_of(MAIN, {MAIN, SAFETY}) is None
    assert coverage.is_uncovered(MAIN, {MAIN, SAFETY})
    assert not coverage.is_uncovered(MAIN, {MAIN})


def test_a_single_pack_has_no_cover() -> None:
    """Whoever wears one pack is uncovered as soon as it is spoiled."""
    coverage = Coverage(TRACKS)
    assert coverage.cover_of(SINGLE, {SINGLE}) is None
    assert coverage.is_uncovered(SINGLE, {SINGLE})


def test_booms_and_tracks_of_nobody_are_no_packs() -> None:
    """Only body packs with a `who` cover; two tracks without one do not cover each other."""
    coverage = Coverage(TRACKS)
    for place in (BOOM, NOBODY):
        assert coverage.cover_of(place, {place}) is None
        assert not coverage.is_uncovered(place, {place})


def test_covers_say_which_pack_to_use() -> None:
    """Each `who` is listed once in plan order, the main preferred to the safety."""
    coverage = Coverage(TRACKS)
    assert coverage.covers(()) == (
        Cover("foreman", (1, 2), (1, 2), 2),
        Cover("rigger", (3,), (3,), 3),
    )
    assert coverage.covers({MAIN, SINGLE}) == (
        Cover("foreman", (1, 2), (1,), 1),
        Cover("rigger", (3,), (), None),
    )
    assert coverage.covers({SINGLE})[1].uncovered
