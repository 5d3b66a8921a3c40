"""What a drill keeps back, and what a pick is about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.models.drill_secrecy import EARLY_S, Pick, blindfold, prompt, target, veil
from app.models.fault_words import is_unnamed
from app.models.fix_cards import cards
from engine.model.drill_causes import Cause
from engine.model.early_signs import EarlySign, SignKind
from engine.model.messages import Alarm, AlarmState, Fault, Severity
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
MUTED = Alarm(fake_client.incident(1, 5, Fault.MUTED, Severity.RED, 4.0), AlarmState.UNACKNOWLEDGED)
ONSET_S = MUTED.incident.onset_s


def unnamed(*picks: Pick) -> bool:
    """Whether that one alarm is still kept back."""
    return is_unnamed(veil(fake_client.snapshot(PLAN, (MUTED,)), picks).alarms[0])


def test_a_pick_names_the_alarm_of_its_track_alone() -> None:
    """Track and time must fit; a second before the onset is the limit, inclusive."""
    assert unnamed()
    assert unnamed(Pick(ONSET_S + 1.0, (6,), Cause.MUTED))
    assert unnamed(Pick(ONSET_S - EARLY_S - 0.01, (5,), Cause.MUTED))
    assert not unnamed(Pick(ONSET_S - EARLY_S, (5,), Cause.MUTED))
    assert not unnamed(Pick(ONSET_S + 1.0, (4, 5), Cause.HUM))


def test_a_receiver_is_not_given_away() -> None:
    """Several tracks of one cause are listed by number, not by what they have in common."""
    gone = fake_client.incident(9, None, Fault.MUTED, Severity.RED, 3.0, tracks=(5, 7, 9))
    shot = fake_client.snapshot(PLAN, (Alarm(gone, AlarmState.UNACKNOWLEDGED),))
    (named,) = cards(PLAN, shot)
    (redact,) = cards(PLAN, veil(shot, ()))
    assert "Receiver" in named.title
    assert "Receiver" not in redact.title
    assert redact.check == ""


def test_blind_leaves_levels_and_nothing_else() -> None:
    """No alarm, cover, colour or presence; the levels are those that came."""
    shot = fake_client.snapshot(PLAN, fake_client.tower_alarms())
    sign = EarlySign(1, SignKind.HUM, (5,), 60.0, 1.0, 9.0)
    seen = blindfold(replace(shot, signs=(sign,)))
    assert (seen.alarms, seen.covers, seen.events, seen.signs) == ((), (), (), ())
    assert not seen.ribbon.severity.any()
    assert seen.present.all()
    np.testing.assert_array_equal(seen.momentary_lufs, shot.momentary_lufs)
    np.testing.assert_array_equal(seen.ribbon.level_dbfs, shot.ribbon.level_dbfs)


def test_a_pick_is_about_what_waits_first() -> None:
    """The chosen card if it waits, else the first that does, else the track on the board."""
    hum = Alarm(
        fake_client.incident(2, 9, Fault.HUM, Severity.AMBER, 9.0), AlarmState.UNACKNOWLEDGED
    )
    waiting = cards(PLAN, veil(fake_client.snapshot(PLAN, (MUTED, hum)), ()))
    named = cards(PLAN, fake_client.snapshot(PLAN, (MUTED, hum)))
    assert target(waiting, waiting[1], (3,)) == (9,)
    assert target(waiting, None, (3,)) == (5,)
    assert target(named, named[0], (3,)) == (3,)
    assert target((), None, ()) == ()


def test_the_prompt_says_what_is_asked_or_was_said() -> None:
    """A question while something waits, then the mixer's own word."""
    pick = Pick(0.0, (5,), Cause.DEAD_MIC)
    assert prompt(PLAN, (5,), pick) == "5 Mason: what is it?"
    assert prompt(PLAN, (), pick) == "5 Mason: you said dead mic."
    assert prompt(PLAN, (), replace(pick, tracks=(5, 6))).startswith("Tracks 5")
