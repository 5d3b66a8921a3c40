"""When which chime is due. The flood rule and the repeats are ours, after IEC 60601-1-8's idea."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.alerts.chime import Sound
from app.alerts.chime_schedule import FLOOD_S, Scheduler
from engine.model.messages import (
    Alarm,
    AlarmEvent,
    AlarmState,
    EventKind,
    Fault,
    Incident,
    Severity,
)

AMBER, RED = Severity.AMBER, Severity.RED
UNSEEN = AlarmState.UNACKNOWLEDGED


def alarm(
    number: int,
    severity: Severity,
    state: AlarmState = UNSEEN,
    uncovered: bool = False,
    unstable: bool = False,
) -> Alarm:
    """An alarm with that incident id."""
    incident = Incident(number, 1, Fault.MUTED, severity, 0.0, uncovered=uncovered)
    return Alarm(incident, state, unstable=unstable)


def test_new_alarm_chimes_once() -> None:
    """An amber that stands is heard once, not with each snapshot."""
    scheduler = Scheduler()
    heard = [scheduler.due(t * 0.05, [alarm(1, AMBER)]) for t in range(1000)]
    assert heard[0] is Sound.AMBER
    assert heard[1:] == [None] * 999


def test_escalation_chimes_again_in_red() -> None:
    """Amber that turns red is heard as red."""
    scheduler = Scheduler()
    scheduler.due(0.0, [alarm(1, AMBER)])
    assert scheduler.due(4.0, [alarm(1, RED)]) is Sound.RED


@given(st.floats(min_value=0.02, max_value=1.0))
def test_red_repeats_every_ten_seconds_until_seen(step_s: float) -> None:
    """A red not yet seen sounds again after 10 s, never sooner, whatever the pace of snapshots."""
    scheduler = Scheduler()
    times = [t * step_s for t in range(int(35 / step_s))]
    heard = [t for t in times if scheduler.due(t, [alarm(1, RED)]) is Sound.RED]
    gaps = np.diff(heard)
    assert len(heard) >= 3
    assert gaps.min() >= 10.0 - 1e-9
    assert gaps.max() <= 10.0 + step_s + 1e-9
    seen = alarm(1, RED, AlarmState.ACKNOWLEDGED)
    assert all(scheduler.due(36 + t, [seen]) is None for t in range(30))


@pytest.mark.parametrize(
    "state",
    [
        AlarmState.ACKNOWLEDGED,
        AlarmState.SHELVED,
        AlarmState.SUPPRESSED,
        AlarmState.OUT_OF_SERVICE,
        AlarmState.RETURNED,
    ],
)
def test_only_unseen_alarms_sound(state: AlarmState) -> None:
    """Nothing seen, shelved, suppressed, out of service or gone makes a sound."""
    assert Scheduler().due(0.0, [alarm(1, RED, state)]) is None


def test_an_inaudible_event_stays_silent() -> None:
    """What the engine calls inaudible makes no sound, not even later; a worse one does."""
    scheduler = Scheduler()
    quiet = AlarmEvent(EventKind.RAISED, 0.0, alarm(1, RED), audible=False)
    assert scheduler.due(0.0, [alarm(1, RED)], [quiet]) is None
    assert scheduler.due(20.0, [alarm(1, RED)]) is None
    assert scheduler.due(21.0, [alarm(1, RED), alarm(2, AMBER)]) is Sound.AMBER


def test_an_unstable_alarm_is_not_chimed_each_time() -> None:
    """A chattering amber that was heard stays silent when it grows worse while unstable."""
    scheduler = Scheduler()
    assert scheduler.due(0.0, [alarm(1, AMBER)]) is Sound.AMBER
    assert scheduler.due(4.0, [alarm(1, AMBER, unstable=True)]) is None


def test_quiet_lasts_two_minutes() -> None:
    """Quiet holds every sound back for 120 s; a red that still stands is heard right after."""
    scheduler = Scheduler()
    scheduler.quiet(0.0)
    assert all(scheduler.due(float(t), [alarm(1, RED)]) is None for t in range(120))
    assert scheduler.due(120.0, [alarm(1, RED)]) is Sound.RED


def test_an_unwatched_stream_sounds_like_red() -> None:
    """While the engine does not answer red sounds every 10 s, unless quiet was asked for."""
    scheduler = Scheduler()
    heard = [t for t in range(30) if scheduler.due_unwatched(float(t)) is Sound.RED]
    assert heard == [0, 10, 20]
    scheduler.quiet(30.0)
    assert scheduler.due_unwatched(40.0) is None


def test_the_most_urgent_of_several_sounds() -> None:
    """Uncovered wins over red, red over amber; only one is heard."""
    some = [alarm(1, AMBER), alarm(2, RED)]
    assert Scheduler().due(0.0, some) is Sound.RED
    assert Scheduler().due(0.0, [*some, alarm(3, RED, uncovered=True)]) is Sound.UNCOVERED


def test_a_flood_is_held_to_one_burst_in_three_seconds() -> None:
    """An alarm every 0.2 s for 20 s: never two bursts within 3 s, and the first is not late."""
    scheduler = Scheduler()
    alarms: list[Alarm] = []
    heard = []
    for step in range(400):
        if step % 4 == 0:
            alarms.append(alarm(step, RED if step % 40 == 0 else AMBER))
        if scheduler.due(step * 0.05, alarms):
            heard.append(step * 0.05)
    assert heard[0] == 0.0
    assert np.diff(heard).min() >= FLOOD_S


def test_what_a_flood_held_back_is_heard_after_it() -> None:
    """A red 0.5 s after an amber sounds as soon as it may, unless it was seen meanwhile."""
    for seen, expected in ((False, Sound.RED), (True, None)):
        scheduler = Scheduler()
        assert scheduler.due(0.0, [alarm(1, AMBER)]) is Sound.AMBER
        assert scheduler.due(0.5, [alarm(1, AMBER), alarm(2, RED)]) is None
        state = AlarmState.ACKNOWLEDGED if seen else UNSEEN
        later = [alarm(1, AMBER), alarm(2, RED, state)]
        assert scheduler.due(2.9, later) is None
        assert scheduler.due(3.0, later) is expected


@pytest.mark.parametrize("state", [UNSEEN, AlarmState.ACKNOWLEDGED])
def test_back_to_normal_is_heard_once(state: AlarmState) -> None:
    """What stood and is over sounds as falling, once, whether or not it had been seen."""
    scheduler = Scheduler()
    scheduler.due(0.0, [alarm(1, AMBER, state)])
    over = [alarm(1, AMBER, AlarmState.RETURNED)] if state is UNSEEN else []
    assert scheduler.due(5.0, over) is Sound.BACK
    assert scheduler.due(9.0, over) is None


@pytest.mark.parametrize(
    "state", [AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE]
)
def test_putting_aside_is_no_return(state: AlarmState) -> None:
    """An alarm that the crew put aside is not back to normal."""
    scheduler = Scheduler()
    scheduler.due(0.0, [alarm(1, RED)])
    assert scheduler.due(5.0, [alarm(1, RED, state)]) is None


def test_once_is_kept_through_a_flood() -> None:
    """A stopped watch is heard even if an amber sounded a moment before."""
    scheduler = Scheduler()
    scheduler.due(0.0, [alarm(1, AMBER)])
    assert scheduler.due_once(0.2, Sound.RED) is None
    assert scheduler.due_unwatched(3.0) is Sound.RED
