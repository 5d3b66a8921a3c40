"""Never heard: a track that was dead from the start, beside neighbours that are alive.

Times as CONTRACT.md has them; levels of healthy and dead tracks: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.silent import Silent
from engine.model.messages import State
from tests.support.detector_tracks import place, words
from tests.support.signals import noise, scene
from tests.support.watching import told

RATE = 8_000


def test_never_heard_while_the_neighbours_were() -> None:
    """Steady noise from the start is told after 60 s of heard neighbours, with onset 0."""
    where = scene(tracks=3, rate_hz=RATE)
    talk = place(-55.0, 70.0, RATE) + words(-30.0, 70.0, RATE)
    x = np.concatenate([noise(-62.0, 70.0, RATE), talk, talk], axis=1)
    detector = Silent(where)
    said = told(detector, x, where)
    ((onset_s, _),) = said.spans_s
    assert onset_s == 0.0
    assert said.states.index(State.ACTIVE) * 0.1 == pytest.approx(61.5, abs=1.5)
    assert "never heard" in detector.detail(0)


def test_half_of_the_neighbours_is_not_most_of_them() -> None:
    """Of two neighbours one is heard: the steady track may be as healthy as the other."""
    where = scene(tracks=3, rate_hz=RATE)
    talk = place(-55.0, 64.0, RATE) + words(-30.0, 64.0, RATE)
    steady = noise(-62.0, 64.0, RATE, tracks=2)
    said = told(Silent(where), np.concatenate([steady, talk], axis=1), where)
    assert State.ACTIVE not in said.states


def test_a_steady_track_without_heard_neighbours_is_no_fault() -> None:
    """Where no other track is heard either, a steady place proves nothing."""
    where = scene(tracks=3, rate_hz=RATE)
    x = noise(-62.0, 70.0, RATE, tracks=3)
    assert State.ACTIVE not in told(Silent(where), x, where).states
