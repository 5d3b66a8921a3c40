"""The learned live floor: right on steady noise, deaf to death, slow to follow the place."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from engine.measure.floor import MARGIN_DB, Learned, LiveFloor
from engine.model.units import rms_dbfs
from tests.support.strategies import seeds, untimed

TICKS_PER_S = 10


def _floor(absolute: float = -75.0, learned: float | None = None) -> LiveFloor:
    start = None if learned is None else Learned(np.array([learned]))
    return LiveFloor(np.array([absolute]), start)


def _feed(floor: LiveFloor, level_dbfs: np.ndarray) -> float:
    """Feed 100 ms levels (AES17 RMS, dBFS); the floor after them."""
    for level in np.atleast_1d(level_dbfs):
        floor.update(np.array([10.0 ** (level / 10.0) / 2.0]))
    return float(floor.floor_dbfs[0])


def _steady(level_dbfs: float, seconds: float, seed: int = 1, ripple_db: float = 0.5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return level_dbfs + rng.normal(0.0, ripple_db, round(seconds * TICKS_PER_S))


def _speech(floor_dbfs: float, seconds: float, seed: int = 2) -> np.ndarray:
    """Levels of talk 25 dB over a floor, 0.2 to 1 s of words and 0.2 to 1 s of pause in turn."""
    rng = np.random.default_rng(seed)
    levels: list[float] = []
    while len(levels) < seconds * TICKS_PER_S:
        levels += [floor_dbfs + 25.0 + rng.normal(0.0, 4.0)] * int(rng.integers(2, 10))
        levels += [floor_dbfs + rng.normal(0.0, 0.5)] * int(rng.integers(2, 10))
    return np.array(levels[: round(seconds * TICKS_PER_S)])


def test_nan_before_ten_seconds_and_known_then() -> None:
    """No floor is stated in the first 9 s; from 10 s on there is one."""
    floor = _floor()
    assert np.isnan(_feed(floor, _steady(-55.0, 9.0)))
    assert _feed(floor, _steady(-55.0, 1.0)) == pytest.approx(-55.0, abs=1.0)


@untimed
@given(seed=seeds, corner=st.sampled_from([0.0, 0.8, 0.95]), level=st.floats(-80.0, -45.0))
def test_bias_of_the_minimum_is_taken_out(seed: int, corner: float, level: float) -> None:
    """On steady noise, white or rumbling, the floor lies within 1.5 dB of the noise's own RMS.

    Martin 2001: the minimum of a fluctuating power lies under its mean by an amount that its
    variance tells.
    """
    rng = np.random.default_rng(seed)
    sound = lfilter([1.0], [1.0, -corner], rng.standard_normal(8000 * 12))[8000:]
    powers = (sound.reshape(-1, 800) ** 2).mean(axis=1)
    levels = rms_dbfs(powers) - rms_dbfs(powers.mean()) + level
    assert _feed(_floor(-85.0), levels[:105]) == pytest.approx(level, abs=1.5)


def test_floor_is_found_between_words() -> None:
    """In talk with pauses the floor is that of the pauses."""
    assert _feed(_floor(), _speech(-56.0, 12.0)) == pytest.approx(-56.0, abs=2.0)


@pytest.mark.parametrize("fall_db", [10.0, 20.0, 40.0])
def test_death_teaches_nothing(fall_db: float) -> None:
    """A mic that falls far under its floor into steady noise for an hour leaves it as it was."""
    floor = _floor()
    before = _feed(floor, _speech(-55.0, 30.0))
    after = _feed(floor, _steady(-55.0 - fall_db, 3600.0, ripple_db=0.2))
    assert after == pytest.approx(before, abs=1.0)


def test_digital_zero_teaches_nothing() -> None:
    """A mute leaves the floor as it was, and is no floor itself."""
    floor = _floor()
    before = _feed(floor, _steady(-55.0, 20.0))
    assert _feed(floor, np.full(600, -200.0)) == before
    assert np.isnan(_feed(_floor(), np.full(600, -200.0)))


def test_radio_gaps_teach_nothing() -> None:
    """Gaps of 300 ms down to a receiver's noise, one every 2 s for two minutes, move it little."""
    floor = _floor()
    before = _feed(floor, _speech(-55.0, 20.0))
    levels = _speech(-55.0, 120.0, seed=3).reshape(-1, 20)
    levels[:, 5:8] = -95.0
    assert _feed(floor, levels.ravel()) == pytest.approx(before, abs=3.0)


def test_never_heard_teaches_nothing() -> None:
    """A track dead from the start has no floor, however long it is listened to."""
    assert np.isnan(_feed(_floor(), _steady(-90.0, 120.0, ripple_db=0.2)))


def test_a_crowd_arrives() -> None:
    """A place that grows 10 dB louder is followed up, at 0.1 dB a second."""
    floor = _floor()
    before = _feed(floor, _steady(-58.0, 20.0))
    assert _feed(floor, _steady(-48.0, 30.0)) < before + 4.0
    assert _feed(floor, _steady(-48.0, 90.0)) == pytest.approx(-48.0, abs=1.5)


def test_the_wind_drops() -> None:
    """A place that grows 15 dB quieter over two minutes is followed down."""
    floor = _floor()
    _feed(floor, _steady(-48.0, 20.0))
    falling = np.linspace(-48.0, -63.0, 1200) + _steady(0.0, 120.0)
    _feed(floor, falling)
    assert _feed(floor, _steady(-63.0, 40.0)) == pytest.approx(-63.0, abs=1.5)


def test_talk_over_a_lower_floor_brings_it_down() -> None:
    """A floor learned from an engine is unlearned once talk shows that the quieter mic lives."""
    floor = _floor()
    _feed(floor, _steady(-38.0, 20.0))
    assert _feed(floor, _speech(-56.0, 180.0)) == pytest.approx(-56.0, abs=MARGIN_DB)


def test_restart_from_what_was_learned() -> None:
    """A floor learned before is known at once, and goes on as its own copy."""
    learned = Learned(np.array([-57.0]))
    floor = LiveFloor(np.array([-75.0]), learned)
    assert floor.floor_dbfs[0] == -57.0
    _feed(floor, _steady(-52.0, 30.0))
    assert learned.floor_dbfs[0] == -57.0


def test_lost_ticks_teach_nothing() -> None:
    """Ticks that are not known neither count towards the ten seconds nor move the floor."""
    floor = _floor()
    assert np.isnan(_feed(floor, np.full(300, np.nan)))
    before = _feed(floor, _steady(-55.0, 12.0))
    assert _feed(floor, np.full(300, np.nan)) == before
