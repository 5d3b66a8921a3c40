"""Presence: which level counts as audible, and the state with its hysteresis.

The live floor is after R. Martin's minimum statistics (2001, see `test_floor`); margin and
hysteresis are ours, healthy floors common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.measure.presence import HYSTERESIS_DB, Presence
from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Scene, Track
from tests.support.signals import scene


def _threshold(what: Scene, floor_dbfs: float) -> float:
    presence = Presence(what)
    presence.follow(np.array([floor_dbfs]))
    return float(presence.threshold_dbfs[0])


@pytest.mark.parametrize(
    ("kind", "level", "expected"),
    [
        (Kind.LAV, None, -75.0),
        (Kind.LAV, PackLevel.MAIN, -75.0),
        (Kind.LAV, PackLevel.SAFETY, -85.0),
        (Kind.BOOM, None, -75.0),
        (Kind.AMBIENCE, None, -75.0),
    ],
)
def test_before_anything_was_learned(kind: Kind, level: PackLevel | None, expected: float) -> None:
    """With no floor known, it is -75 dBFS on mains, booms and ambience, -85 on safeties."""
    assert _threshold(scene(kind=kind, level=level), np.nan) == expected


@pytest.mark.parametrize("level", [None, PackLevel.SAFETY])
@pytest.mark.parametrize("floor_dbfs", [-80.0, -70.0, -62.0])
def test_learned(floor_dbfs: float, level: PackLevel | None) -> None:
    """With a floor known, it lies 8 dB under it."""
    assert _threshold(scene(level=level), floor_dbfs) == floor_dbfs - 8.0


def test_the_plan_wins() -> None:
    """A level that the plan sets is taken whatever was learned."""
    planned = Scene((Track(input=1, limits={"presence_dbfs": -66.0}),), 48_000)
    assert _threshold(planned, np.nan) == _threshold(planned, -50.0) == -66.0


def test_a_loud_floor_does_not_make_a_pause_silence() -> None:
    """After a line-up tone a pause at -55 dBFS still counts on a main, not so in a crowd."""
    assert _threshold(scene(), -20.0) < -55.0
    assert _threshold(scene(kind=Kind.AMBIENCE), -35.0) == -43.0


def test_hysteresis() -> None:
    """Present from the level on, inclusive, until more than 2 dB below it."""
    presence = Presence(scene())
    presence.follow(np.array([-52.0]))
    for level, expected in (
        (-60.001, False),
        (-60.0, True),
        (-60.0 - HYSTERESIS_DB, True),
        (-60.001 - HYSTERESIS_DB, False),
        (-60.5, False),
    ):
        assert presence.update(np.array([level])).tolist() == [expected]


def test_an_unknown_level_changes_nothing() -> None:
    """NaN keeps the state and is left out of the fraction; with nothing known that is NaN."""
    presence = Presence(scene())
    unknown = np.array([np.nan])
    presence.update(unknown)
    assert np.isnan(presence.fraction[0])
    presence.update(np.array([-40.0]))
    assert presence.update(unknown).tolist() == [True]
    presence.update(np.array([-120.0]))
    assert presence.update(unknown).tolist() == [False]
    assert presence.fraction[0] == 0.5
