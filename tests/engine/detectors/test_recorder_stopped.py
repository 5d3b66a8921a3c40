"""A recorder that stopped by itself, told by its record-run code.

Record-run code: SMPTE ST 12-1; that a stop is amber alone: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from engine.detectors.recorder_stopped import RecorderStopped
from engine.model.messages import Kind, State
from engine.model.tracks import BY_TIMECODE, Scene, Track
from tests.support.timecode_signals import Sound, code, still
from tests.support.watching import measurements

RATE = 48_000
TRACKS = (Track(1, kind=Kind.TIMECODE),)
SCENE = Scene(TRACKS, RATE, rolling=BY_TIMECODE)
STOPS = np.concatenate([code("25", "10:00:00:00", 50, RATE), still("25", "10:00:01:24", 50, RATE)])


def states(sound: Sound, scene: Scene = SCENE, standby_from_s: float = np.inf) -> list[State]:
    """What is said tick by tick; the crew stands by from that time on."""
    detector, said = RecorderStopped(scene), []
    for m, feed in measurements(sound[:, None], scene):
        feed = replace(feed, standby=feed.now_s > standby_from_s)
        said.append(State(int(detector.update(m, feed).state[0])))
    return said


def test_code_that_ran_and_stopped() -> None:
    """Active within a second, from where the last label ended, and not while it runs."""
    said = states(STOPS)
    first = said.index(State.ACTIVE)
    assert 2.0 < (first + 1) * 0.1 <= 3.0
    assert set(said[first:]) == {State.ACTIVE}
    detector = RecorderStopped(SCENE)
    for m, feed in measurements(STOPS[:, None], SCENE):
        condition = detector.update(m, feed)
    assert condition.onset_s[0] == pytest.approx(2.0, abs=0.01)
    assert detector.detail(0) == "recorder stopped: its code stands still at 10:00:01:24"


@pytest.mark.parametrize("standby_from_s", [1.0, 3.0])
def test_the_crew_stood_by(standby_from_s: float) -> None:
    """Standby by hand, before the stop or after it, means that the stop is meant."""
    assert states(STOPS, standby_from_s=standby_from_s)[-1] is State.CLEAR


def test_only_where_the_plan_says_so() -> None:
    """Without `rolling = "timecode"` nothing is said."""
    assert set(states(STOPS, Scene(TRACKS, RATE))) == {State.UNKNOWN}


def test_code_that_never_ran() -> None:
    """Code that stands still from the begin did not stop."""
    assert set(states(still("25", "10:00:00:00", 75, RATE))) == {State.CLEAR}
