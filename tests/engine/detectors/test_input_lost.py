"""Input lost: the interface went away or delivers nothing. Common practice, no source."""

from __future__ import annotations

import pytest

from engine.detectors.base import TickContext
from engine.detectors.input_lost import InputLost
from engine.model.messages import State
from tests.support.signals import noise, scene
from tests.support.watching import measurements

SCENE = scene(tracks=3, rate_hz=8_000)


def test_active_at_once_from_the_last_audio_on() -> None:
    """A stalled feed is lost at once, and since the last audio that came."""
    detector = InputLost(SCENE)
    for m, feed in measurements(noise(-50.0, 1.0, 8_000, tracks=3), SCENE):
        assert detector.update(m, feed).state.tolist() == [State.CLEAR]
    lost = detector.update(None, TickContext(1.7, stalled=True, reason="its cable"))
    assert lost.state.tolist() == [State.ACTIVE]
    assert lost.onset_s.tolist() == [pytest.approx(1.0)]
    assert lost.last_s.tolist() == [1.7]
    assert lost.may_be_red.all()
    assert detector.detail(0) == "its cable"


def test_clear_once_audio_comes_again() -> None:
    """The first tick of audio ends it."""
    detector = InputLost(SCENE)
    detector.update(None, TickContext(0.7, stalled=True, reason="its cable"))
    (m, feed) = measurements(noise(-50.0, 0.1, 8_000, tracks=3), SCENE)[0]
    assert detector.update(m, feed).state.tolist() == [State.CLEAR]
