"""Names in a take against those of the plan."""

from __future__ import annotations

import pytest

from engine.model.tracks import Track
from engine.verify.track_names import name_findings, own_names, owners_of

TRACKS = (Track(1, "Ropes"), Track(2, "Ropes S"), Track(3, "Winch"), Track(4, "Boom"))


def told(*written: str) -> list[str]:
    """What is told of a take with those names."""
    names = own_names(written, TRACKS)
    owners = owners_of(names, TRACKS, len(names))
    return [finding.text for finding in name_findings("bell01.wav", names, TRACKS, owners)]


@pytest.mark.parametrize(
    "names",
    [
        ("Ropes", "Ropes S", "Winch", "Boom"),
        ("ROPES", "ropes  s", "winch", "boom"),
        ("Boom", "Winch", "Ropes S", "Ropes"),
        ("Tr1", "Track 2", "ch_3", "4"),
        ("", "", "", ""),
        ("Ropes", "Ropes S", "Win", "Boom", "Mix L"),
        ("BELL_T01_1", "BELL_T01_2", "BELL_T01_3", "BELL_T01_10"),
        ("T01_Ropes", "T01_Ropes S", "T01_Winch", "T01_Boom"),
    ],
)
def test_nothing_is_told_of_names_that_fit(names: tuple[str, ...]) -> None:
    """Planned names in any order and case, numbers, none at all, one cut short, a mix besides,
    mono files by their take."""
    assert told(*names) == []


def test_a_slip_in_one_name_is_told_on_its_channel() -> None:
    """The others fit, so the one that does not is named with what was planned."""
    assert told("Ropes", "Ropes S", "Whinch", "Boom") == [
        "channel 3 is named Whinch, planned Winch"
    ]


def test_a_name_cut_short_that_could_be_two_is_told() -> None:
    """`Rop` is neither surely Ropes nor its safety."""
    assert told("Rop", "Ropes S", "Winch", "Boom") == ["channel 1 is named Rop, planned Ropes"]


def test_another_plans_names_are_one_finding() -> None:
    """Where hardly any name fits, nobody needs a line for each."""
    (text,) = told("Oboe", "Harp", "Horn", "Tuba")
    assert text == (
        "its tracks are not named as planned: channel 1 is named Oboe, planned Ropes, and 3 more"
    )


def test_channels_belong_where_their_names_say() -> None:
    """Names outrank numbers where at least two of them are planned ones."""
    assert owners_of(("Boom", "Winch"), TRACKS, 2) == {1: TRACKS[3], 2: TRACKS[2]}
    assert owners_of(("Boom", "Fiddle"), TRACKS, 2) == {1: TRACKS[0], 2: TRACKS[1]}
