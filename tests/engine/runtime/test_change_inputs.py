"""Inputs that join or leave the watch in its midst: the tracks that stay are watched as if not."""

from __future__ import annotations

from dataclasses import fields, replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.model.commands import LineCheckGo, OutOfService, StartLineCheck
from engine.model.messages import (
    Block,
    EventKind,
    Fault,
    Incident,
    Kind,
    PackLevel,
    Samples,
    Severity,
)
from engine.model.tracks import Plan, Track
from engine.pipeline.pipeline import Pipeline
from tests.support.scenario_signals import RATE_HZ, make
from tests.support.strategies import untimed
from tests.support.timecode_signals import code

SECONDS = 36.0
LIMITS = {"polarity_amber_s": 3.0, "low_amber_s": 8.0, "pair_drift_amber_s": 4.0}
STAY = (
    Track(2, who="foreman", level=PackLevel.MAIN, receiver="A", kind_limits=LIMITS),
    Track(3, who="foreman", level=PackLevel.SAFETY, receiver="A", kind_limits=LIMITS),
    Track(5, who="mate", kind_limits=LIMITS),
    Track(6, kind=Kind.AMBIENCE),
    Track(8, kind=Kind.COMMS),
    Track(9, kind=Kind.TIMECODE),
    Track(11, who="engineer", kind_limits=LIMITS),
    Track(13, kind=Kind.BOOM),
)
GUESTS = (
    Track(1, name="guest 1", kind=Kind.COMMS),
    Track(4, name="guest 4", kind=Kind.COMMS),
    Track(7, name="guest 7", kind=Kind.COMMS),
    Track(10, name="guest 10", kind=Kind.TIMECODE),
)
"""Of kinds that no other track's alarms ask about."""


def plan(*guests: Track) -> Plan:
    """The tracks that stay, and those."""
    return Plan(tuple(sorted((*STAY, *guests), key=lambda t: t.input)))


def take() -> Samples:
    """The place, voices and code; a fault of nearly each kind on the tracks that stay."""
    heard = [replace(guest, kind=Kind.LAV) for guest in GUESTS]
    tracks = tuple(sorted((*STAY, *heard, Track(12)), key=lambda t: t.input))
    story = {
        "seconds": SECONDS,
        "speech": [
            {"who": "foreman", "from_s": 1.0, "to_s": 23.0},
            {"who": "engineer", "from_s": 20.0, "to_s": 35.0},
        ],
        "fault": [
            {"what": "shout into the ceiling", "tracks": [5], "from_s": 14.0, "to_s": 19.0},
            {"what": "digital zero", "tracks": [5], "from_s": 24.0, "to_s": 27.5},
            {"what": "crowd gone", "tracks": [6], "from_s": 16.0, "to_s": 26.0},
            {"what": "steady hiss", "tracks": [5], "from_s": 29.0, "to_s": 36.0},
            {"what": "digital zero", "tracks": [1, 7], "from_s": 5.0, "to_s": 30.0},
        ],
    }
    x = make(tracks, story)
    rng = np.random.default_rng(5)
    floor = 1e-3 * rng.standard_normal(len(x)).astype(np.float32)
    x[:, 2] = -0.25 * x[:, 1] + 0.3 * floor  # the safety: inverted, then it slips
    x[round(20 * RATE_HZ) :, 2] *= 0.2
    x[:, 10] *= 0.03  # speaks far too low
    time_s = np.arange(len(x)) / RATE_HZ
    hum = sum(0.02 / n * np.sin(2 * np.pi * 50 * n * time_s + n) for n in (1, 2, 3, 5))
    x[round(10 * RATE_HZ) :, 12] += hum[round(10 * RATE_HZ) :].astype(np.float32)
    for at_s in (13.0, 13.4, 15.2, 31.0):
        x[round(at_s * RATE_HZ) : round((at_s + 0.06) * RATE_HZ), 5] = 0.0
    x[round(33.0 * RATE_HZ), 5] = np.nan
    for channel, silent_s in ((8, (21.0, 23.0)), (9, (3.0, 5.0))):
        x[:, channel] = 0.1 * code("25", "10:00:00:00", round(25 * SECONDS), RATE_HZ)[: len(x)]
        x[round(silent_s[0] * RATE_HZ) : round(silent_s[1] * RATE_HZ), channel] = 0.0
    return x


TAKE = take()


def watch(*steps: tuple[int, Plan]) -> Pipeline:
    """The take, going by each plan from its frame on; the first one from 0."""
    pipeline = Pipeline(steps[0][1], RATE_HZ)
    pipeline.feed(Block(TAKE[: steps[1][0] if len(steps) > 1 else None]))
    for (at, given_plan), (until, _) in pairwise([*steps[1:], (len(TAKE), plan())]):
        pipeline.change_plan(given_plan, pipeline.fed_s)
        pipeline.feed(Block(TAKE[at:until]))
    pipeline.finish()
    return pipeline


def alarms(pipeline: Pipeline) -> list[Incident]:
    """Every incident on a track that stays, in all but its number."""
    stay = {track.input for track in STAY}
    return [replace(i, id=0) for i in pipeline.incidents() if i.track in stay]


WHOLE = watch((0, plan()))


def test_the_take_has_faults_of_many_kinds() -> None:
    """Else the next test would prove little."""
    faults = {incident.fault for incident in alarms(WHOLE)}
    wanted = {Fault.MUTED, Fault.CLIPPED, Fault.SILENT, Fault.DROPOUT, Fault.HUM, Fault.POLARITY}
    assert faults >= wanted | {Fault.LOW, Fault.TIMECODE, Fault.SAMPLES_LOST}


guests = st.lists(st.sampled_from(range(len(GUESTS))), unique=True).map(
    lambda chosen: plan(*(GUESTS[n] for n in chosen))
)
changes = st.lists(
    st.tuples(st.integers(1, len(TAKE)), guests), min_size=1, max_size=4, unique_by=lambda c: c[0]
)


@settings(untimed, max_examples=10)
@given(first=guests, then=changes)
def test_tracks_that_stay_alarm_as_if_nothing_had_been_changed(
    first: Plan, then: list[tuple[int, Plan]]
) -> None:
    """Any inputs join and leave at any frames: same incidents in every field, same totals."""
    pipeline = watch((0, first), *sorted(then, key=lambda change: change[0]))
    assert alarms(pipeline) == alarms(WHOLE)
    totals, whole = pipeline.totals(), WHOLE.totals()
    at = [t.input for t in pipeline.plan.tracks]
    stay = [at.index(track.input) for track in STAY]
    for field in fields(totals):
        assert getattr(totals, field.name)[stay].tobytes() == getattr(whole, field.name).tobytes()
    assert pipeline.fed_s == pytest.approx(SECONDS)
    assert pipeline.audio_lost_s == 0.0


def test_a_new_input_is_watched_at_once() -> None:
    """Mute on an input added at 6.03 s: found from there on, red by its limits, not before."""
    pipeline = watch((0, plan()), (round(6.03 * RATE_HZ), plan(replace(GUESTS[2], kind=Kind.LAV))))
    mute = next(i for i in pipeline.incidents() if i.track == 7)
    assert mute.fault is Fault.MUTED
    assert mute.severity is Severity.RED
    assert 6.0 <= mute.onset_s <= 6.11
    assert mute.red_s is not None
    assert mute.red_s <= mute.onset_s + 2.1
    assert mute.end_s == pytest.approx(30.0, abs=0.02)


def test_a_new_timecode_input_is_not_late_from_the_start() -> None:
    """Code was never heard on it because it was not watched, which is no fault."""
    pipeline = watch((0, plan()), (round(8.5 * RATE_HZ), plan(GUESTS[3])))
    assert [i for i in pipeline.incidents() if i.track == 10] == []


def test_a_healthy_input_that_joins_raises_nothing() -> None:
    """Added in the midst of speech and noise on the others."""
    pipeline = watch((0, plan()), (round(9.99 * RATE_HZ), plan(Track(12))))
    assert [i for i in pipeline.incidents() if i.track == 12] == []
    place = [t.input for t in pipeline.plan.tracks].index(12)
    assert pipeline.totals().rms_dbfs[place] == pytest.approx(-55.0, abs=0.1)
    assert pipeline.totals().noise_floor_dbfs[place] == pytest.approx(-55.0, abs=1.0)


def test_the_alarm_of_an_input_that_leaves_ends_and_is_told() -> None:
    """It stands as it was until then; nothing of that input is left in the snapshot."""
    pipeline = Pipeline(plan(replace(GUESTS[2], kind=Kind.LAV)), RATE_HZ)
    pipeline.feed(Block(TAKE[: 9 * RATE_HZ]))
    assert 7 in [a.incident.track for a in pipeline.book.alarms()]
    (event,) = pipeline.change_plan(plan(), 9.0)
    assert (event.kind, event.alarm.incident.end_s) == (EventKind.CLEARED, 9.0)
    shot = pipeline.snapshot(9.0)
    assert shot.inputs == tuple(t.input for t in STAY)
    assert 7 not in [a.incident.track for a in shot.alarms]
    assert shot.ribbon.level_dbfs.shape[1] == len(shot.peak_dbfs) == len(STAY)


def test_what_was_taken_out_of_service_stays_so() -> None:
    """By input, not by place."""
    pipeline = Pipeline(plan(*GUESTS), RATE_HZ)
    pipeline.command(OutOfService(5, True), 0.0)
    pipeline.change_plan(plan(), 0.0)
    assert pipeline.book.inputs_out_of_service == (5,)


def test_a_line_check_passes_over_an_input_that_left() -> None:
    """The check goes on with the next track; one that joined is asked for in the next check."""
    pipeline = Pipeline(plan(*GUESTS), RATE_HZ)
    pipeline.command(StartLineCheck(()), 0.0)
    pipeline.command(LineCheckGo(7), 0.0)
    pipeline.feed(Block(TAKE[: RATE_HZ // 2]))
    pipeline.change_plan(plan(), 0.5)
    pipeline.feed(Block(TAKE[RATE_HZ // 2 : RATE_HZ]))
    state = pipeline.lines.checker.state()
    assert state is not None
    assert state.at == 8
    assert state.order == tuple(t.input for t in STAY)
