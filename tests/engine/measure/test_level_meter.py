"""The meter of a reduced watch: the levels are those of the whole meter, all else is unknown."""

from __future__ import annotations

import numpy as np

from engine.measure.level_meter import LevelMeter
from engine.measure.meter import Meter
from engine.model.messages import Block, Fault
from engine.model.tracks import Scene, Track, plan_for
from engine.pipeline.pipeline import Pipeline
from tests.support.signals import noise

RATE = 48_000


def test_levels_and_presence_are_those_of_the_whole_meter() -> None:
    """Bit for bit: peaks, mean squares, level, floor, presence."""
    scene = Scene((Track(1), Track(2)), RATE)
    whole, reduced = Meter(scene), LevelMeter(scene)
    sound = noise(-40.0, 3.0, RATE, tracks=2)
    for start in range(0, len(sound), whole.tick_frames):
        tick = sound[start : start + whole.tick_frames]
        one, other = whole.update(tick), reduced.update(tick)
    for name in ("peak_max", "mean_square", "level_dbfs", "floor_dbfs", "presence_dbfs", "present"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    assert np.isnan(other.momentary_lufs).all()


def test_a_reduced_watch_finds_what_is_muted_and_measures_nothing_else(monkeypatch) -> None:
    """Though loudness and every other detector raise, a mute is red after two seconds."""
    for name in ("Loudness", "TruePeak", "Decimate"):
        monkeypatch.setattr(f"engine.measure.meter.{name}.update", lambda *_: 1 / 0, raising=False)
    pipeline = Pipeline(plan_for(["", ""]), RATE, reduced=True)
    sound = noise(-40.0, 6.0, RATE, tracks=2)
    sound[2 * RATE :, 0] = 0.0
    pipeline.feed(Block(sound))
    (muted,) = pipeline.incidents()
    assert (muted.track, muted.fault) == (1, Fault.MUTED)
    assert muted.red_s is not None
    assert pipeline.problems == ()
