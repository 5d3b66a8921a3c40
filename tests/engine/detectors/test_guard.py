"""A detector that raises is told, begins anew, and disturbs neither the others nor the watch."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.guard import DOUBT_S, LONGEST_REASON, RETRY_S, reason_of
from engine.detectors.registry import DETECTORS
from engine.model.messages import Block, Fault, Incident, Samples
from engine.model.tracks import Plan, Track, plan_for
from engine.pipeline.pipeline import Pipeline
from engine.pipeline.scan import scan_source
from engine.sources.base import SourceError
from engine.sources.synthetic import ArraySource
from tests.support.signals import noise
from tests.support.strategies import untimed

RATE = 8_000
SECONDS = 9.0
PLAN = Plan((Track(1), Track(2)))


@pytest.fixture(scope="module")
def sound() -> Samples:
    """The place on two tracks; the first is mute from 2 s to 6 s."""
    samples = noise(-50.0, SECONDS, RATE, seed=2, tracks=2)
    samples[2 * RATE : 6 * RATE, 0] = 0.0
    return samples


def raise_between(pipeline: Pipeline, name: str, from_s: float, to_s: float) -> None:
    """Let the detector of that rule raise in that time, however often it is made anew."""
    kind = DETECTORS[name]

    class Broken(kind):  # type: ignore[misc, valid-type]
        def update(self, measurement: Any, feed: Any) -> Any:
            if from_s <= feed.now_s < to_s:
                raise ZeroDivisionError("no \x1b[31mframes")
            return super().update(measurement, feed)

    pipeline.judge.bank._detectors[name] = Broken(pipeline.scene)
    pipeline.judge.bank._anew = lambda wanted: (  # type: ignore[method-assign]
        Broken(pipeline.scene) if wanted == name else DETECTORS[wanted](pipeline.scene)
    )


def others(pipeline: Pipeline, fault: Fault) -> list[Incident]:
    """Every incident but those of that fault, in all but its number."""
    return [replace(i, id=0) for i in pipeline.incidents() if i.fault is not fault]


@untimed
@given(
    name=st.sampled_from(sorted(DETECTORS)),
    from_s=st.floats(0.0, SECONDS),
    lasts_s=st.floats(0.05, SECONDS),
)
def test_any_detector_may_raise_at_any_time(
    sound: Samples, name: str, from_s: float, lasts_s: float
) -> None:
    """The watch goes on, no audio is lost, and what the other detectors find is the same."""
    whole, broken = Pipeline(PLAN, RATE), Pipeline(PLAN, RATE)
    raise_between(broken, name, from_s, from_s + lasts_s)
    for pipeline in (whole, broken):
        for start in range(0, len(sound), RATE // 4):
            pipeline.feed(Block(sound[start : start + RATE // 4]))
    assert broken.fed_s == whole.fed_s == SECONDS
    assert broken.audio_lost_s == 0.0
    family = {Fault.MUTED, Fault.SILENT, Fault.DEAD_MIC}
    rule = next(r for r in broken.judge.bank._rules if r.name == name)
    if rule.fault not in family:
        assert others(broken, rule.fault) == others(whole, rule.fault)


def test_it_is_told_in_one_harmless_line_until_it_judges_again(sound: Samples) -> None:
    """While it raises, which detector and why; nothing once it judges."""
    pipeline = Pipeline(PLAN, RATE)
    raise_between(pipeline, "hum", 3.0, 3.3)
    lines = []
    for start in range(0, len(sound), RATE // 10):
        pipeline.feed(Block(sound[start : start + RATE // 10]))
        lines.append(pipeline.problems)
    assert set(lines) == {(), ("hum can't judge: ZeroDivisionError: no ?[31mframes",)}
    first = next(n for n, line in enumerate(lines) if line)
    last = max(n for n, line in enumerate(lines) if line)
    assert first == pytest.approx(30, abs=1)
    assert (last - first + 1) / 10 == pytest.approx(RETRY_S, abs=0.2)


def test_a_fault_that_stands_is_not_ended_by_a_detector_that_begins_anew(sound: Samples) -> None:
    """The mute is over at 6 s; what began anew at 3 s must not say so before it has looked on."""
    pipeline = Pipeline(PLAN, RATE)
    raise_between(pipeline, "muted", 3.0, 3.2)
    pipeline.feed(Block(sound[: 5 * RATE]))
    (muted,) = [i for i in pipeline.incidents() if i.fault is Fault.MUTED]
    assert muted.end_s is None
    pipeline.feed(Block(noise(-50.0, DOUBT_S, RATE, seed=4, tracks=2)))
    (muted,) = [i for i in pipeline.incidents() if i.fault is Fault.MUTED]
    assert muted.end_s is not None


def test_a_scan_with_a_detector_that_fails_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """A result without one of its faults must not pass for whole."""
    monkeypatch.setattr(DETECTORS["hum"], "update", lambda *_: 1 / 0)
    with pytest.raises(SourceError, match="hum can't judge: ZeroDivisionError"):
        scan_source(ArraySource(np.zeros((RATE, 1), np.float32), RATE), plan_for([""]))


@given(text=st.text(max_size=400))
def test_a_reason_is_one_short_line(text: str) -> None:
    """Whatever an exception says."""
    reason = reason_of(ValueError(text))
    assert len(reason.splitlines()) == 1
    assert reason.startswith("ValueError")
    assert len(reason) <= LONGEST_REASON
