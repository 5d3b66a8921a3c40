"""Sounds, when they are due, and the thread that plays them.

Figures named are those of IEC 60601-1-8 as read in second-hand notes and from memory; it is a
model here, not a claim of conformity.
"""

from __future__ import annotations

import threading

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import chime
from app.chime import RATE_HZ, Player, Scheduler, sound
from engine.model import (
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


def alarm(number: int, severity: Severity, state: AlarmState = UNSEEN, **more: bool) -> Alarm:
    """An alarm with that incident id."""
    return Alarm(Incident(number, 1, Fault.MUTED, severity, 0.0), state, **more)


@pytest.mark.parametrize("severity", list(Severity))
def test_peak_lies_at_the_asked_level(severity: Severity) -> None:
    """The loudest sample is at the level asked, so that the chosen level is a promise."""
    peak = np.abs(sound(severity, -18.0)).max()
    assert 20 * np.log10(peak) == pytest.approx(-18.0, abs=0.01)


@pytest.mark.parametrize("severity", list(Severity))
def test_begins_and_ends_softly(severity: Severity) -> None:
    """No click: it starts at zero, ends near zero, and no step is large."""
    samples = sound(severity)
    assert abs(samples[0]) < 1e-3
    assert abs(samples[-1]) < 1e-3
    assert np.abs(np.diff(samples)).max() < 0.5


def test_sounds_differ_in_number_of_pulses() -> None:
    """Amber is a burst of three pulses, red a figure of five (IEC 60601-1-8's idea)."""
    for severity, pulses in ((AMBER, 3), (RED, 5)):
        loud = np.abs(sound(severity)) > 1e-4
        window = loud[: len(loud) // 480 * 480].reshape(-1, 480).any(axis=1)
        assert np.count_nonzero(np.diff(window.astype(int)) == 1) + window[0] == pulses


def test_harmonics_stand_where_the_model_has_them() -> None:
    """At least four components lie between 300 and 4000 Hz (IEC 60601-1-8)."""
    tone = chime.pulse(523.25, 0.24)
    spectrum = np.abs(np.fft.rfft(tone, RATE_HZ))
    strong = [n for n in range(1, 8) if spectrum[round(523.25 * n)] > 0.1 * spectrum.max()]
    assert len([n for n in strong if 300 <= 523.25 * n <= 4000]) >= 4


def test_new_alarm_chimes_once() -> None:
    """An amber that stands is heard once, not with each snapshot."""
    scheduler = Scheduler()
    heard = [scheduler.due(t * 0.05, [alarm(1, AMBER)]) for t in range(1000)]
    assert heard[0] is AMBER
    assert heard[1:] == [None] * 999


def test_escalation_chimes_again_in_red() -> None:
    """Amber that turns red is heard as red."""
    scheduler = Scheduler()
    scheduler.due(0.0, [alarm(1, AMBER)])
    assert scheduler.due(1.0, [alarm(1, RED)]) is RED


@given(st.floats(min_value=0.02, max_value=1.0))
def test_red_repeats_every_ten_seconds_until_seen(step_s: float) -> None:
    """A red not yet seen sounds again after 10 s, never sooner, whatever the pace of snapshots."""
    scheduler = Scheduler()
    times = [t * step_s for t in range(int(35 / step_s))]
    heard = [t for t in times if scheduler.due(t, [alarm(1, RED)]) is RED]
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


def test_the_worst_of_several_sounds() -> None:
    """Of several new alarms only the most urgent is heard."""
    assert Scheduler().due(0.0, [alarm(1, AMBER), alarm(2, RED)]) is RED


def test_an_inaudible_event_stays_silent() -> None:
    """What the engine calls inaudible makes no sound, not even later; a worse one does."""
    scheduler = Scheduler()
    quiet = AlarmEvent(EventKind.RAISED, 0.0, alarm(1, RED), audible=False)
    assert scheduler.due(0.0, [alarm(1, RED)], [quiet]) is None
    assert scheduler.due(20.0, [alarm(1, RED)]) is None
    assert scheduler.due(21.0, [alarm(1, RED), alarm(2, AMBER)]) is AMBER


def test_an_unstable_alarm_is_not_chimed_each_time() -> None:
    """A chattering amber that was heard stays silent when it grows worse while unstable."""
    scheduler = Scheduler()
    assert scheduler.due(0.0, [alarm(1, AMBER)]) is AMBER
    assert scheduler.due(1.0, [alarm(1, AMBER, unstable=True)]) is None


def test_quiet_lasts_two_minutes() -> None:
    """Quiet holds every sound back for 120 s; a red that still stands is heard right after."""
    scheduler = Scheduler()
    scheduler.quiet(0.0)
    assert all(scheduler.due(float(t), [alarm(1, RED)]) is None for t in range(120))
    assert scheduler.due(120.0, [alarm(1, RED)]) is RED


def test_an_unwatched_stream_sounds_like_red() -> None:
    """While the engine does not answer red sounds every 10 s, unless quiet was asked for."""
    scheduler = Scheduler()
    heard = [t for t in range(30) if scheduler.due_unwatched(float(t)) is RED]
    assert heard == [0, 10, 20]
    scheduler.quiet(30.0)
    assert scheduler.due_unwatched(40.0) is None


def test_player_says_what_is_wrong_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing sound device is said once, and the thread goes on and ends when told."""
    told: list[str] = []
    done = threading.Event()

    def broken(_severity: Severity, _level_db: float) -> None:
        raise OSError("no such\ndevice")

    monkeypatch.setitem(__import__("sys").modules, "sounddevice", object())
    monkeypatch.setattr(chime, "sound", broken)
    player = Player(told.append)
    for _ in range(3):
        player.play(RED, chime.ChimeSettings())
    player.ask(lambda: 1, lambda _found: done.set())
    assert done.wait(5)
    player.close()
    assert told == ["no such device"]
