"""Samples lost: audio was lost before it was looked at (CONTRACT.md: red above 1 s in a minute).

That lost audio is told and never measured as silence: common practice, no source.
"""

from __future__ import annotations

import pytest

from engine.detectors.base import TickContext
from engine.detectors.samples_lost import LossWindow, SamplesLost
from engine.model.messages import State
from tests.support.signals import noise, scene
from tests.support.watching import lost, told

RATE = 8_000
SCENE = scene(tracks=2, rate_hz=RATE)


def test_a_loss_is_told_where_it_lies() -> None:
    """The tick of a loss is active, from its first to its last hop."""
    missing = lost(2 * RATE, (4_321, 4_350))
    said = told(SamplesLost(SCENE), noise(-50.0, 2.0, RATE, tracks=2), SCENE, missing=missing)
    assert said.states.count(State.ACTIVE) == 1
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(0.54)
    assert last_s == pytest.approx(0.55)
    assert not said.may_be_red


@pytest.mark.parametrize(("frames", "red"), [(RATE - 1, False), (RATE, False), (RATE + 1, True)])
def test_red_above_one_second(frames: int, red: bool) -> None:
    """Exactly a second lost is amber still, one frame more may be red."""
    condition = SamplesLost(SCENE).update(None, TickContext(5.0, lost_frames=frames))
    assert bool(condition.may_be_red[0]) is red


def test_a_loss_is_forgotten_after_a_minute() -> None:
    """Losses a minute apart do not add up; a little less than a minute they do."""
    window = LossWindow()
    window.add(0.0, 0.6)
    window.add(59.9, 0.6)
    assert window.lost_s == pytest.approx(1.2)
    window.add(60.0, 0.0)
    assert window.lost_s == pytest.approx(0.6)


def test_how_much_is_said() -> None:
    """The line says how much went in the last minute."""
    detector = SamplesLost(SCENE)
    detector.update(None, TickContext(5.0, lost_frames=RATE // 4))
    assert detector.detail(0) == "0.25 s of audio lost in the last minute"
