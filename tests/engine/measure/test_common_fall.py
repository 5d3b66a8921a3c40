"""Several microphones that lose one source together. Common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from engine.measure.common_fall import CommonFall
from engine.model.messages import PackLevel
from engine.model.tracks import Scene, Track

SCENE = Scene(
    (Track(1), Track(2, level=PackLevel.SAFETY), Track(3)),
    48_000,
)
LOUD_DBFS = -35.0
PRESENCE_DBFS = np.full(3, -56.0)


def stopped(after_dbfs: list[float], late_ticks: tuple[int, int, int] = (0, 0, 0)) -> list[bool]:
    """Which tracks are said to have lost their source, when each falls that many ticks late."""
    fall = CommonFall(SCENE)
    said = np.zeros(3, dtype=np.bool_)
    for tick in range(200):
        fallen = tick >= 100 + np.array(late_ticks)
        level_dbfs = np.where(fallen, after_dbfs, LOUD_DBFS)
        said |= fall.update(level_dbfs, level_dbfs, np.full(3, LOUD_DBFS), PRESENCE_DBFS)
    return [bool(one) for one in said]


def test_all_that_fall_into_a_quiet_place_lost_their_source() -> None:
    """A loudspeaker that stops leaves every microphone with the quiet place."""
    assert stopped([-60.0, -72.0, -58.0]) == [True, True, True]


def test_one_that_falls_alone_lost_something_of_its_own() -> None:
    """Nobody bears witness for a single microphone."""
    assert stopped([-60.0, LOUD_DBFS, LOUD_DBFS]) == [False, False, False]


@pytest.mark.parametrize(("late_ticks", "together"), [(20, True), (31, False)])
def test_seconds_apart_are_not_together(late_ticks: int, together: bool) -> None:
    """Two falls within 3 s are one, later ones are two."""
    assert stopped([-60.0, LOUD_DBFS, -60.0], (0, 0, late_ticks)) == [together, False, together]


def test_what_falls_under_every_healthy_pause_is_no_quiet_place() -> None:
    """Two that fall to the noise of a dead input lost their receiver or their power."""
    assert stopped([-90.0, -95.0, LOUD_DBFS]) == [False, False, False]
    assert stopped([-60.0, -95.0, LOUD_DBFS]) == [False, False, False]


@pytest.mark.parametrize("mixed", [0.03, 0.3, 0.9])
def test_the_way_from_a_loud_place_to_nothing_is_no_quiet_place(mixed: float) -> None:
    """Two receivers mute at once, some way into a tick: the level over 400 ms, four ticks whose
    powers are averaged, falls through that of a quiet place."""
    fall, power = CommonFall(SCENE), np.full((4, 3), 10.0 ** (LOUD_DBFS / 10.0))
    silence = np.array([10.0**-9.0, 10.0**-9.3, power[0, 2]])
    for tick in range(200):
        newest = silence if tick > 100 else np.full(3, power[0, 2])
        if tick == 100:
            newest = mixed * power[0, 2] + (1.0 - mixed) * silence
        power = np.vstack([power[1:], newest])
        level_dbfs, newest_dbfs = 10.0 * np.log10(power.mean(axis=0)), 10.0 * np.log10(newest)
        assert not fall.update(level_dbfs, newest_dbfs, np.full(3, LOUD_DBFS), PRESENCE_DBFS).any()
