"""What runs beside the alarms never changes them, and an exception in it ends nothing."""

from __future__ import annotations

from dataclasses import fields
from functools import partial
from typing import Any, Final

import numpy as np
import pytest

from engine.early_signs.sign_watch import SignWatch
from engine.model.early_signs import SignKind
from engine.model.messages import Block, Flags, Kind, Measurement, PackLevel
from engine.model.tracks import Plan, Track
from engine.pipeline.outlook import Outlook
from engine.pipeline.pipeline import Pipeline
from tests.engine.pickup.test_pickup_meter import scene
from tests.support.signals import noise

RATE = 48_000
NAMES: Final = [field.name for field in fields(Measurement)]
PLAN = Plan(
    (
        Track(1, "Rigger", Kind.LAV, "rigger", PackLevel.MAIN),
        Track(2, "Mason", Kind.LAV, "mason", PackLevel.MAIN),
        Track(3, "Boom near", Kind.BOOM),
        Track(4, "Boom far", Kind.BOOM),
        Track(5, "Radio", Kind.COMMS),
    )
)


def events_of(pipeline: Pipeline, sound: np.ndarray) -> list:
    """All that happens in that sound."""
    events = []
    for at in range(0, len(sound), RATE):
        events += pipeline.feed(Block(sound[at : at + RATE]))
    return events


@pytest.fixture(scope="module")
def night() -> np.ndarray:
    """The rigger speaks; at 25 s the pack dies."""
    sound = scene(40.0)
    sound[25 * RATE :, 0] = 0.0
    return sound


def test_alarms_are_the_same_with_and_without(night: np.ndarray) -> None:
    """Event by event, time by time, while somebody is learned to be heard elsewhere."""
    with_it, without = (Pipeline(PLAN, RATE, outlook=on) for on in (True, False))
    expected = events_of(without, night)
    assert events_of(with_it, night) == expected != []
    with_it.outlook.finish()
    assert with_it.outlook.take_stretches()
    assert not without.outlook.take_stretches()


def test_alarms_are_the_same_while_a_sign_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    """A floor creeps up by 9 dB, then the track mutes; the outlook finds nothing that it could
    write to: neither in a measurement nor in what is worn or shelved."""
    rate = 8_000
    sound = noise(-57.0, 345.0, rate, tracks=3)
    rise_db = np.interp(np.arange(len(sound)) / rate, (195.0, 315.0), (0.0, 9.0))
    sound[:, 2] *= (10.0 ** (rise_db / 20.0)).astype(np.float32)
    sound[335 * rate :, 2] = 0.0
    plan = Plan(tuple(Track(n + 1, kind=Kind.BOOM) for n in range(3)))
    expected = Pipeline(plan, rate, outlook=False).feed(Block(sound))
    watch, update = Pipeline(plan, rate), Outlook.update

    def only_reads(outlook: Outlook, m: Measurement, faulty: Flags, **named: Any) -> None:
        values = (faulty, *map(partial(getattr, m), NAMES))
        arrays = [x for x in values if isinstance(x, np.ndarray)]
        before = [x.flags.writeable for x in arrays]
        for x in arrays:
            x.flags.writeable = False
        incidents = watch.book.incidents()
        update(outlook, m, faulty, **named)
        for x, writeable in zip(arrays, before, strict=True):
            x.flags.writeable = writeable
        assert watch.book.incidents() == incidents

    monkeypatch.setattr(Outlook, "update", only_reads)
    assert watch.feed(Block(sound)) == expected != []
    assert [e.sign.kind for e in watch.outlook.take_events()] == [SignKind.NOISE_FLOOR]
    assert watch.problems == ()


def test_a_performer_whom_nothing_covers_is_said_to_be_heard_on_the_boom(night: np.ndarray) -> None:
    """The near boom is named while the pack is dead, and nothing before."""
    pipeline = Pipeline(PLAN, RATE)
    events_of(pipeline, night[: 24 * RATE])
    assert pipeline.snapshot(24.0).pickups == ()
    events_of(pipeline, night[24 * RATE :])
    (pickup,) = pipeline.snapshot(40.0).pickups
    assert (pickup.who, pickup.track) == ("rigger", 3)
    pipeline.outlook.finish()
    assert {p.track for p in pipeline.outlook.take_stretches()} >= {3}


def test_an_exception_is_said_and_the_watch_goes_on(
    night: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The signs raise for a while: one line, the same alarms, and they begin anew."""
    expected = events_of(Pipeline(PLAN, RATE, outlook=False), night)
    pipeline = Pipeline(PLAN, RATE)

    def raises(*_: object, **__: object) -> None:
        raise ZeroDivisionError("no good")

    with monkeypatch.context() as broken:
        broken.setattr(SignWatch, "update", raises)
        events = events_of(pipeline, night[: 5 * RATE])
        assert pipeline.problems == ("early signs began anew: ZeroDivisionError: no good",)
    events += events_of(pipeline, night[5 * RATE :])
    assert events == expected
    assert pipeline.problems == ()
