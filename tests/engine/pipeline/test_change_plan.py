"""A plan changed in mid-watch: not one sample is lost, incidents and what was learned go on."""

from __future__ import annotations

from dataclasses import astuple, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.model.messages import Block, EventKind, Fault, Kind, PackLevel, Samples
from engine.model.tracks import Plan, Track
from engine.pipeline.pipeline import Pipeline
from engine.plan.change import PlanChangeError
from tests.support.signals import noise
from tests.support.strategies import untimed

RATE = 32_000
PLAN = Plan(
    (
        Track(1, who="foreman", level=PackLevel.MAIN, receiver="A"),
        Track(2, who="foreman", level=PackLevel.SAFETY, receiver="A"),
        Track(3, kind=Kind.AMBIENCE),
        Track(4, kind=Kind.COMMS),
    )
)


def changed(**by_input: dict[str, object]) -> Plan:
    """The plan with some tracks changed: `_1={"name": "x"}`."""
    tracks = tuple(
        replace(t, **by_input.get(f"_{t.input}", {}))  # type: ignore[arg-type]
        for t in PLAN.tracks
    )
    return replace(PLAN, tracks=tracks)


def take(seconds: float = 6.0) -> Samples:
    """The place on four tracks; a mute on 1 from 2 s to 5 s."""
    x = noise(-50.0, seconds, RATE, seed=3, tracks=4)
    x[2 * RATE : 5 * RATE, 0] = 0.0
    return x


TAKE = take()
NAMES = changed(
    _1={"name": "Foreman main", "pack": "7"}, _3={"name": "Crowd", "placement": "tower"}
)


def whole(plan: Plan = PLAN) -> Pipeline:
    """A watch of the take that nobody touched."""
    pipeline = Pipeline(plan, RATE)
    pipeline.feed(Block(TAKE))
    pipeline.finish()
    return pipeline


WHOLE = whole()


@settings(untimed, max_examples=12)
@given(cut=st.integers(0, len(TAKE)))
def test_other_names_change_nothing_else(cut: int) -> None:
    """Renamed at any frame: same incidents in every field, same totals bit for bit."""
    pipeline = Pipeline(PLAN, RATE)
    events = pipeline.feed(Block(TAKE[:cut]))
    assert pipeline.change_plan(NAMES, pipeline.fed_s) == []
    events += pipeline.feed(Block(TAKE[cut:]))
    pipeline.finish()
    assert pipeline.incidents() == WHOLE.incidents()
    for a, b in zip(astuple(pipeline.totals()), astuple(WHOLE.totals()), strict=True):
        assert a.tobytes() == b.tobytes()
    assert pipeline.plan.track(1).label == "Foreman main"
    assert len([e for e in events if e.kind is EventKind.RAISED]) == len(WHOLE.incidents())


@pytest.mark.parametrize("cut_s", [1.0, 2.3, 3.04, 4.5])
def test_an_incident_outlives_other_pairs_and_limits(cut_s: float) -> None:
    """With another `who` and limits the mute stays one incident: same number, onset and end."""
    pipeline = Pipeline(PLAN, RATE)
    cut = round(cut_s * RATE)
    pipeline.feed(Block(TAKE[:cut]))
    plan = changed(_1={"who": "mate", "limits": {"silent_red_s": 60.0}}, _2={"who": "mate"})
    pipeline.change_plan(plan, pipeline.fed_s)
    pipeline.feed(Block(np.concatenate([TAKE[cut:], noise(-50.0, 15.0, RATE, seed=4, tracks=4)])))
    (mute,) = [i for i in pipeline.incidents() if i.fault is Fault.MUTED]
    (before,) = [i for i in WHOLE.incidents() if i.fault is Fault.MUTED]
    assert (mute.id, mute.track, mute.onset_s) == (before.id, 1, before.onset_s)
    assert mute.end_s == pytest.approx(5.0, abs=0.011)


def test_cover_follows_the_new_plan() -> None:
    """A muted main whose safety is declared afterwards is covered from then on."""
    alone = changed(_2={"who": "rigger"})
    pipeline = Pipeline(alone, RATE)
    pipeline.feed(Block(TAKE[: 4 * RATE]))
    (mute,) = [i for i in pipeline.incidents() if i.track == 1]
    assert mute.uncovered
    pipeline.change_plan(PLAN, 4.0)
    (mute,) = [i for i in pipeline.incidents() if i.track == 1]
    assert (mute.covered_by, mute.uncovered) == (2, False)


def test_a_fault_not_looked_for_any_more_ends() -> None:
    """A muted track that is declared unused is in fault no longer, and that is told."""
    pipeline = Pipeline(PLAN, RATE)
    pipeline.feed(Block(TAKE[: 4 * RATE]))
    (event,) = pipeline.change_plan(changed(_1={"kind": Kind.UNUSED, "level": None}), 4.0)
    assert event.kind is EventKind.CLEARED
    assert event.alarm.incident.end_s == 4.0
    assert pipeline.book.alarms() == ()


def test_what_was_learned_stays() -> None:
    """Live floors, and what the crew took out of service, are not lost by a change."""
    pipeline = Pipeline(PLAN, RATE)
    pipeline.feed(Block(noise(-50.0, 14.0, RATE, seed=6, tracks=4)))
    floors = pipeline.meter.learned().floor_dbfs
    assert not np.isnan(floors).any()
    pipeline.change_plan(changed(_3={"kind": Kind.BOOM}), 14.0)
    assert np.array_equal(pipeline.meter.learned().floor_dbfs, floors)


def test_a_receiver_that_is_no_common_cause_any_more_lets_go() -> None:
    """Both packs of rack A fail together; once the plan has them on two, each speaks for itself."""
    x = noise(-50.0, 8.0, RATE, seed=3, tracks=4)
    x[2 * RATE :, :2] = 0.0
    pipeline = Pipeline(PLAN, RATE)
    pipeline.feed(Block(x[: 7 * RATE]))
    assert [a.incident.tracks for a in pipeline.book.alarms() if a.incident.track is None]
    pipeline.change_plan(changed(_2={"receiver": "B"}), 7.0)
    pipeline.feed(Block(x[7 * RATE :]))
    standing = {a.incident.track: a.incident.part_of for a in pipeline.book.alarms()}
    assert standing == {1: None, 2: None}
    (cause,) = [i for i in pipeline.incidents() if i.track is None]
    assert cause.end_s == 7.0


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (replace(PLAN, frame_rate="30"), "frame_rate"),
        (replace(PLAN, rolling="timecode"), "rolling"),
    ],
)
def test_what_cannot_change_is_refused_whole(plan: Plan, words: str) -> None:
    """Another frame rate or way of rolling: one clear line, the watch goes on."""
    pipeline = Pipeline(PLAN, RATE)
    with pytest.raises(PlanChangeError, match=words):
        pipeline.change_plan(plan, 0.0)
    assert pipeline.plan is PLAN
