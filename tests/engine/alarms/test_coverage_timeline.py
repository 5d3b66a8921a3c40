"""Which pack covered whom when. Common practice, no source, as `test_coverage` says."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.alarms.coverage import Coverage
from engine.alarms.coverage_timeline import CoverageTimeline, Stretch
from engine.model.messages import Fault, Incident, Kind, PackLevel
from engine.model.tracks import Track
from tests.support.sample_report import incident

DURATION_S = 20
TRACKS = (
    Track(1, who="foreman", level=PackLevel.MAIN),
    Track(2, who="foreman", level=PackLevel.SAFETY),
    Track(3, who="rigger"),
    Track(4, kind=Kind.BOOM),
)
SPOILING, HARMLESS = Fault.MUTED, Fault.HUM


@st.composite
def incidents(draw: st.DrawFn) -> list[Incident]:
    """Faults of whole seconds, of one track or of all; some last, some do not spoil."""
    found = []
    for number in range(draw(st.integers(0, 8))):
        onset = draw(st.integers(0, DURATION_S))
        end = draw(st.one_of(st.none(), st.integers(onset, DURATION_S + 5)))
        track = draw(st.sampled_from([1, 2, 3, 4, None]))
        fault = Fault.INPUT_LOST if track is None else draw(st.sampled_from([SPOILING, HARMLESS]))
        tracks = (1, 2, 3, 4) if track is None else ()
        found.append(incident(number, track, fault=fault, onset_s=onset, end_s=end, tracks=tracks))
    return found


def spoiled_at(at_s: float, given: list[Incident]) -> set[int]:
    """Places that are spoiled at that moment, looked up one by one."""
    standing = [
        i
        for i in given
        if i.fault is not HARMLESS
        and i.onset_s <= at_s < (DURATION_S if i.end_s is None else i.end_s)
    ]
    inputs = {n for i in standing for n in (i.tracks if i.track is None else (i.track,))}
    return {place for place, track in enumerate(TRACKS) if track.input in inputs}


def use_at(stretches: tuple[Stretch, ...], at_s: float) -> int | None:
    """What the stretches say of that moment; exactly one must hold it."""
    (one,) = (s for s in stretches if s.start_s <= at_s < s.end_s)
    return one.use


@given(incidents())
def test_stretches_partition_the_take(given: list[Incident]) -> None:
    """Every who's stretches go from 0 to the end without gap or overlap, neighbours differing."""
    for who in CoverageTimeline(TRACKS, given, DURATION_S).whos():
        edges = [(s.start_s, s.end_s) for s in who.stretches]
        assert edges[0][0] == 0.0
        assert edges[-1][1] == DURATION_S
        assert all(a < b for a, b in edges)
        pairs = list(zip(who.stretches, who.stretches[1:], strict=False))
        assert all(one.end_s == other.start_s for one, other in pairs)
        assert all(one.use != other.use for one, other in pairs)


@given(incidents())
def test_agrees_with_looking_moment_by_moment(given: list[Incident]) -> None:
    """At any moment it names the pack that coverage names for the faults that stand then."""
    timeline, coverage = CoverageTimeline(TRACKS, given, DURATION_S), Coverage(TRACKS)
    for second in range(DURATION_S):
        now = coverage.covers(spoiled_at(second + 0.5, given))
        for who, cover in zip(timeline.whos(), now, strict=True):
            assert (who.who, use_at(who.stretches, second + 0.5)) == (cover.who, cover.use)


@given(incidents())
def test_the_covered_share_is_the_share_of_moments(given: list[Incident]) -> None:
    """The share counts the moments with a good pack over all moments."""
    for who in CoverageTimeline(TRACKS, given, DURATION_S).whos():
        good = sum(use_at(who.stretches, s + 0.5) is not None for s in range(DURATION_S))
        assert who.covered_fraction == pytest.approx(good / DURATION_S)


@given(incidents())
def test_what_to_use_instead_is_never_the_track_itself(given: list[Incident]) -> None:
    """Of an incident: the other pack, stretch by stretch over the incident, while that is good."""
    timeline, coverage = CoverageTimeline(TRACKS, given, DURATION_S), Coverage(TRACKS)
    for one in given:
        stretches = timeline.instead(one)
        if one.track not in (1, 2):
            assert stretches == ()
            continue
        start_s, end_s = timeline.span(one)
        assert sum(s.length_s for s in stretches) == pytest.approx(end_s - start_s)
        for second in range(int(start_s), int(end_s)):
            spoiled = spoiled_at(second + 0.5, given)
            expected = coverage.cover_of(one.track - 1, spoiled)
            assert use_at(stretches, second + 0.5) == expected != one.track


def test_a_take_of_no_length_has_no_share() -> None:
    """Nothing can be said of nothing."""
    (who, _) = CoverageTimeline(TRACKS, [], 0.0).whos()
    assert who.covered_fraction is None
    assert who.stretches == ()


def test_an_example_in_figures() -> None:
    """Main mute 5 to 15 s, safety from 10 s on: safety 5 to 10, nobody 10 to 15, then the main."""
    faults = [
        incident(1, 1, onset_s=5.0, end_s=15.0),
        incident(2, 2, onset_s=10.0, end_s=None),
    ]
    foreman, rigger = CoverageTimeline(TRACKS, faults, DURATION_S).whos()
    assert foreman.stretches == (
        Stretch(0.0, 5.0, 1),
        Stretch(5.0, 10.0, 2),
        Stretch(10.0, 15.0, None),
        Stretch(15.0, 20.0, 1),
    )
    assert foreman.covered_fraction == pytest.approx(0.75)
    assert rigger.uncovered == ()
