"""Detectors asked where the sound is measured: a watch must not be able to tell."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from demo_audio import demo_take
from engine.detectors.registry import DETECTORS
from engine.detectors.sample_bank import BESIDE_THE_METER, SampleDetectorBank
from engine.model.messages import Incident
from engine.model.tracks import Plan
from engine.pipeline.measure_ahead import measure
from engine.pipeline.pipeline import Pipeline
from engine.plan.load import load_plan
from engine.sources.base import Source
from engine.sources.synthetic import ArraySource
from engine.sources.take import open_take
from tests.scenarios.test_scenarios import STORIES, tracks_of
from tests.support.scenario_signals import RATE_HZ, make


def _incidents(source: Source, plan: Plan, with_ears: bool) -> tuple[Incident, ...]:
    pipeline = Pipeline(plan, source.info.sample_rate_hz)
    ears = SampleDetectorBank(pipeline.scene) if with_ears else None
    for stretch in measure(source, pipeline.scene, ears):
        for tick in stretch.ticks:
            assert (tick.heard is not None) is with_ears
            pipeline.take_in(tick)
    return pipeline.incidents()


def test_only_detectors_that_may_are_asked_there() -> None:
    """They look at samples, and at nothing that only the pipeline knows."""
    assert all(DETECTORS[name].NEEDS_SAMPLES for name in BESIDE_THE_METER)


@pytest.mark.parametrize("path", STORIES, ids=[path.stem for path in STORIES])
def test_every_story_goes_the_same(path: Path) -> None:
    """Same incidents, times, covers and words, whoever asked the detectors."""
    story = tomllib.loads(path.read_text("utf-8"))
    tracks = tracks_of(story)
    sound = make(tracks, story)
    here, there = (
        _incidents(ArraySource(sound, RATE_HZ), Plan(tracks), with_ears)
        for with_ears in (False, True)
    )
    assert there == here


def test_the_demo_take_goes_the_same() -> None:
    """Real voices, all kinds of tracks, and a track of timecode."""
    demo = demo_take()
    plan = load_plan(demo.plan)
    here, there = (
        _incidents(open_take(demo.take, read_ahead=0), plan, with_ears)
        for with_ears in (False, True)
    )
    assert there == here
    assert here
