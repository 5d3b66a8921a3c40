"""The words and the order of the list of what to fix."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.models.fix_cards import cards
from engine.model import crew_notes as desks
from engine.model.batteries import Battery
from engine.model.crew_notes import CrewNotes
from engine.model.fault_remedies import FAULTS
from engine.model.messages import Alarm, AlarmState, Fault, Severity
from engine.model.snapshot import Cover
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
SNAPSHOT = fake_client.snapshot(PLAN, fake_client.tower_alarms())


def check_of(fault: Fault) -> str:
    """What the table of faults says to check first."""
    return next(row.check_first for row in FAULTS if row.fault is fault)


def test_order_and_titles() -> None:
    """Uncovered first, as one card for both packs; then red, amber, and what is back."""
    found = cards(PLAN, SNAPSHOT)
    assert [c.title for c in found] == [
        "7 + 8 Foreman",
        "9 Boom scaffold",
        "3 Rigger main",
        "5 Mason",
    ]
    assert [c.time for c in found] == ["0:24", "1:10 · seen", "0:06", "recovered 0:40 ago"]


def test_the_uncovered_card_says_all() -> None:
    """It names the loss, both packs with their places, the receiver and what to check."""
    card = cards(PLAN, SNAPSHOT)[0]
    assert card.headline == "No backup: both packs silent."
    assert card.where == "Pack 7 chest, pack 8 small of back. Receiver B."
    assert card.check.casefold().startswith(check_of(Fault.SILENT))
    assert card.incidents == (1, 2)
    assert card.severity is Severity.RED


def test_a_covered_card_names_the_pack_that_covers() -> None:
    """Which pack to use meanwhile, and what was measured in a line of its own."""
    card = cards(PLAN, SNAPSHOT)[2]
    assert card.cover == "Use 4 Rigger safety meanwhile."
    assert (card.headline, card.evidence) == ("Clipping.", "14 flat tops in 10 s.")


def test_what_is_back_has_no_colour() -> None:
    """A fault that ended stays listed, without severity, until it is seen."""
    card = cards(PLAN, SNAPSHOT)[3]
    assert (card.severity, card.state) == (None, AlarmState.RETURNED)
    assert card.headline.endswith("Recovered: A clears it.")


def test_a_receivers_alarm_hides_its_tracks() -> None:
    """One cause is one card, though each track keeps an incident of its own."""
    red, asleep = Severity.RED, AlarmState.SUPPRESSED
    detail = "receiver B: all its 4 tracks at once: power, antennas, output"
    whole = fake_client.incident(9, None, Fault.MUTED, red, 5, tracks=(5, 7, 8, 9), detail=detail)
    parts = [
        Alarm(fake_client.incident(n, n, Fault.MUTED, red, 5, part_of="B"), asleep)
        for n in (5, 7, 8)
    ]
    snapshot = fake_client.snapshot(PLAN, [Alarm(whole, AlarmState.UNACKNOWLEDGED), *parts])
    (card,) = cards(PLAN, snapshot)
    assert (card.title, card.tracks) == ("Receiver B", (5, 7, 8, 9))
    assert card.where.startswith("Tracks 5, 7–9: 5 Mason, 7 Foreman main")
    assert card.check == "Power, antennas, output."


def test_the_whole_input_is_one_card() -> None:
    """Tracks of several receivers that fail together are called the whole input."""
    whole = fake_client.incident(9, None, Fault.MUTED, Severity.RED, 5, tracks=tuple(range(1, 12)))
    (card,) = cards(PLAN, fake_client.snapshot(PLAN, [Alarm(whole, AlarmState.UNACKNOWLEDGED)]))
    assert card.title == "Whole input"


def test_notes_stand_on_their_card() -> None:
    """What was noted on an incident is read on its card, on no other."""
    desk = desks.note(CrewNotes(), 3, "new capsule", 1.0)
    found = cards(PLAN, replace(SNAPSHOT, desk=desk))
    assert [c.notes for c in found] == [(), ("new capsule",), (), ()]


@pytest.mark.parametrize(
    ("left_s", "severity"), [(1200.0, Severity.AMBER), (0.0, Severity.AMBER), (1201.0, None)]
)
def test_a_battery_turns_amber_twenty_minutes_before_its_end(
    left_s: float, severity: Severity | None
) -> None:
    """20 min before the end, as the plan of this window has it, a card names pack and place."""
    desk = CrewNotes(batteries=(Battery(7, fake_client.NOW_S + left_s - 3600, 3600.0),))
    found = cards(PLAN, fake_client.snapshot(PLAN, desk=desk))
    assert [c.severity for c in found] == ([severity] if severity else [])
    if found:
        assert found[0].title == "7 Foreman main"
        assert found[0].where.startswith("Pack 7 chest")


def test_a_break_lists_the_batteries_to_change() -> None:
    """In a break all that end within two hours are listed, the first to end on top."""
    batteries = tuple(Battery(n, fake_client.NOW_S, 3600.0 * n) for n in (3, 2, 1))
    desk = CrewNotes(break_since_s=fake_client.NOW_S, batteries=batteries)
    found = cards(PLAN, fake_client.snapshot(PLAN, desk=desk))
    assert [c.tracks for c in found] == [(1,), (2,)]


def test_shelved_shows_when_it_comes_back() -> None:
    """A shelved card counts down and has no colour."""
    one = fake_client.incident(1, 1, Fault.SILENT, Severity.RED, 30)
    snapshot = fake_client.snapshot(
        PLAN, [Alarm(one, AlarmState.SHELVED, until_s=fake_client.NOW_S + 65)]
    )
    (card,) = cards(PLAN, snapshot)
    assert (card.time, card.severity) == ("shelved 1:05", None)


@pytest.mark.parametrize("row", FAULTS, ids=lambda row: f"{row.fault}-{row.scope.name}")
def test_every_fault_says_what_to_check(row: object) -> None:
    """No card leaves the mixer without a first thing to check."""
    track = 1 if row.scope.name == "TRACK" else None  # type: ignore[attr-defined]
    one = fake_client.incident(1, track, row.fault, Severity.RED, 3, tracks=() if track else (1, 2))  # type: ignore[attr-defined]
    snapshot = fake_client.snapshot(PLAN, [Alarm(one, AlarmState.UNACKNOWLEDGED)])
    (card,) = cards(PLAN, snapshot)
    assert card.check.casefold().startswith(row.check_first.casefold())  # type: ignore[attr-defined]


@given(st.permutations(fake_client.tower_alarms()))
def test_order_does_not_hang_on_the_order_given(alarms: list[Alarm]) -> None:
    """The same alarms give the same list, however they come."""
    found = cards(PLAN, replace(SNAPSHOT, alarms=tuple(alarms)))
    assert [c.title for c in found] == [c.title for c in cards(PLAN, SNAPSHOT)]
    assert sorted(n for c in found for n in c.incidents) == [1, 2, 3, 4, 5]


def test_packs_of_a_covered_who_stay_apart() -> None:
    """Only a who without any healthy pack is gathered into one card."""
    covers = (Cover("Foreman", (7, 8), (8,), 8),)
    found = cards(PLAN, replace(SNAPSHOT, covers=covers))
    assert [c.tracks for c in found[:2]] == [(7,), (8,)]


def test_empty_inputs_are_one_card_by_their_numbers() -> None:
    """'Inputs 14–32', nothing yet, and what to do about it; no list of nineteen names."""
    made = replace(fake_client.incident(1, 1, Fault.NOTHING_YET, Severity.AMBER, 30), track=None)
    alarm = Alarm(replace(made, tracks=tuple(range(14, 33))), AlarmState.UNACKNOWLEDGED)
    plan = fake_client.large_plan(32)
    (card,) = cards(plan, fake_client.snapshot(plan, (alarm,)))
    assert card.title == "Inputs 14–32"
    assert card.headline == "Nothing yet."
    assert card.where == ""
    assert "plan" in card.check


def test_all_that_may_fail_of_the_computer_is_one_amber_card() -> None:
    """What is wrong, and what to do about each, in amber; none while all is well."""
    lines = ("runs on its battery (44 % left, 1 h 20 min): plug it in", "hot (98 °C): give it air")
    made = cards(PLAN, fake_client.snapshot(PLAN, computer=lines))
    (card,) = [c for c in made if c.title == "This computer"]
    assert card.severity is Severity.AMBER
    assert card.headline == "Runs on its battery (44 % left, 1 h 20 min). Hot (98 °C)."
    assert card.check == "Plug it in. Give it air."
    assert card.fault == "may fail"
    assert all(c.title != "This computer" for c in cards(PLAN, fake_client.snapshot(PLAN)))
