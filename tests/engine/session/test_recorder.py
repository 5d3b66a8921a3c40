"""What happens becomes lines of the log."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from engine.model import dataclass_json
from engine.model.client_id import ClientId
from engine.model.commands import Shelve
from engine.model.messages import Alarm, AlarmEvent, AlarmState, EventKind
from engine.session.checkpoint import Checkpoint
from engine.session.recorder import SessionRecorder
from engine.session.second_levels import pack_levels, unpack_levels
from tests.support.feeding import INFO, REQUEST, WATCH, kept, label, red_incident, tick, totals
from tests.support.memory_log import MemoryLog

LEVELS = st.floats(-200.0, 100.0, allow_nan=False) | st.just(float("nan"))


def feed_on(log: MemoryLog) -> SessionRecorder:
    """A feed whose wall clock stands still."""
    return SessionRecorder(log, WATCH, 48_000, lambda: 1_700_000_000_000, label, totals)


@given(arrays(np.float64, (3, 5), elements=LEVELS))
def test_levels_come_back_to_a_hundredth_of_a_db(levels: np.ndarray) -> None:
    """Packed levels of any size come back to 0.005 dB, unknown ones as unknown."""
    packed = pack_levels(*levels)
    assert len(packed) == 2 * levels.size
    np.testing.assert_allclose(unpack_levels(packed, 5), levels, atol=0.0051)


def test_levels_of_another_number_of_tracks_are_refused() -> None:
    """A blob that does not fit the tracks is a ValueError."""
    with pytest.raises(ValueError, match="reshape"):
        unpack_levels(b"12", 2)


def test_each_second_has_its_maximum_peak_and_level() -> None:
    """Momentary maximum, highest sample peak and AES17 RMS of the second, by hand.

    A square wave of 0.5 peaks at -6.02 dBFS and reads -3.01 dBFS RMS, because AES17 has a
    full-scale sine read 0.
    """
    log = MemoryLog()
    feed = feed_on(log)
    for number in range(21):
        loud = number == 4
        measured = tick(number, lufs=-20.0 if loud else -30.0)
        feed.tick(measured, (number + 1) / 10, lambda: ([], kept()))
    second, _, blob = log.of("level")[0]
    assert second == 0
    momentary, peak, level = unpack_levels(blob, 2)
    assert momentary[0] == pytest.approx(-20.0)
    assert np.isnan(momentary[1])
    assert peak[0] == pytest.approx(-6.02, abs=0.01)
    assert level[0] == pytest.approx(-3.01, abs=0.01)


def test_code_that_comes_later_is_a_row_of_its_own() -> None:
    """So that moments before the next alarm have its labels too, not those of the time of day."""
    log = MemoryLog()

    def coded(at_s: float) -> str:
        return label(at_s) if at_s < 2.34 else label(at_s + 3600.0)

    feed = SessionRecorder(log, WATCH, 48_000, lambda: 1_700_000_000_000, coded, totals)
    for number in range(60):
        feed.tick(tick(number), (number + 1) / 10, lambda: ([], kept()))
    (first, *_), (turn_s, frame, _, timecode) = log.of("label")
    assert first == 0.0
    assert turn_s == pytest.approx(2.34, abs=0.002)
    assert frame == round(turn_s * 48_000)
    assert timecode == coded(turn_s)


def test_lost_audio_is_unknown_and_no_silence() -> None:
    """A second of which nothing came has no level, and a gap with its reason."""
    log = MemoryLog()
    feed = feed_on(log)
    for number in range(12):
        lost = tick(number, valid=False)
        feed.lost(0.1 * (number + 1), "cable")
        feed.tick(lost, (number + 1) / 10, lambda: ([], kept()))
    blob = log.of("level")[0][2]
    assert np.isnan(unpack_levels(blob, 2)[1:]).all()
    gaps = log.of("gap")
    assert sum(gap[5] for gap in gaps) == pytest.approx(1.1)
    assert {(gap[0], gap[7]) for gap in gaps} == {("audio", "cable")}


def test_an_incident_is_written_when_it_changes_and_not_again() -> None:
    """Of a standing incident each new state is one line, not one a second."""
    log = MemoryLog()
    feed = feed_on(log)
    for number in range(60):
        feed.tick(tick(number), number / 10, lambda: ([red_incident()], kept()))
    assert len(log.of("incident")) == 1


def test_an_event_has_position_wall_clock_and_timecode() -> None:
    """A change is stamped with its own stream time, sample, label and the wall clock."""
    log = MemoryLog()
    alarm = Alarm(red_incident(), AlarmState.SHELVED, until_s=302.5)
    feed_on(log).happened([AlarmEvent(EventKind.SHELVED, 2.5, alarm)], kept())
    (change,) = log.of("change")
    assert change[:5] == (1, "shelved", "shelved", "red", "muted")
    assert change[5:] == (2.5, 120_000, 1_700_000_000_000, "01:00:02:12", 302.5)
    kinds = [line.kind for line in log.lines]
    assert kinds == ["incident", "change", "kept"]  # the incident first: changes refer to it


def test_a_command_has_who_gave_it_and_what_it_did() -> None:
    """Command, arguments, user, place and process are in one line, with the state after it."""
    log = MemoryLog()
    feed_on(log).asked(Shelve(3, 300.0), ClientId("window", "crew", 7), 1.0, kept())
    (action,) = log.of("action")
    assert action[0] == "Shelve"
    assert json.loads(action[1]) == {"incident_id": 3, "seconds": 300.0}
    assert action[2:5] == ("crew", "window", 7)
    assert dataclass_json.loads(Checkpoint, log.of("kept")[0][0]).book == kept().book


def test_the_session_begins_with_plan_and_tracks() -> None:
    """The plan as it was, the request and every track are there before anything happens."""
    log = MemoryLog()
    feed_on(log).begin(REQUEST, INFO, "the plan", "1.0")
    (session,) = log.of("session")
    assert session[-1] == "the plan"
    assert dataclass_json.loads(type(REQUEST), session[-2]) == REQUEST
    assert [track[:3] for track in log.of("track")] == [
        (1, 1, "Foreman main"),
        (4, 4, "Boom scaffold"),
    ]
