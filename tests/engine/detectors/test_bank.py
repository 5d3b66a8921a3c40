"""The detectors of a watch asked together."""

from __future__ import annotations

import numpy as np

from engine.detectors.bank import Panel
from engine.detectors.base import Feed
from engine.detectors.registry import DETECTORS
from engine.measure.decimate import Slow
from engine.model.messages import Fault, State
from engine.pipeline.framing import Front, Heard
from tests.support.conditions import blank
from tests.support.signals import noise, scene

RATE_HZ = 48_000


def _rows(*faults: Fault) -> list[int]:
    return [n for n, row in enumerate(DETECTORS) if row.fault in faults]


def test_each_row_says_something_and_what_nobody_looks_for_says_nothing() -> None:
    """A condition for each row; without a timecode track or a pair those rows know nothing."""
    panel = Panel(scene(2, RATE_HZ), DETECTORS)
    (tick,) = Front(scene(2, RATE_HZ)).feed(noise(-40.0, 0.1, RATE_HZ, tracks=2))
    said = panel.ask(tick.measurement, Feed(0.1))
    assert len(said) == len(DETECTORS)
    for number in _rows(Fault.TIMECODE, Fault.UNEXPECTED):
        assert (said[number].state == State.UNKNOWN).all()
    (muted,) = _rows(Fault.MUTED)
    assert (said[muted].state == State.CLEAR).all()


def test_what_was_asked_elsewhere_is_taken_over_with_its_words() -> None:
    """The word of the measuring side stands for the detector's own, until it says another."""
    panel = Panel(scene(2, RATE_HZ), DETECTORS)
    (tick,) = Front(scene(2, RATE_HZ)).feed(noise(-40.0, 0.1, RATE_HZ, tracks=2))
    faults = [row.fault for row in DETECTORS if row.needs_samples]
    said = {fault: blank(2) for fault in faults}
    said[Fault.CLIPPED].state[:] = np.int8(State.ACTIVE)
    Slow(RATE_HZ).of(tick.measurement)  # what the others live on goes along
    light = tick.measurement.without_samples()
    words = {(Fault.CLIPPED, 1): "three flat tops"}
    conditions = panel.ask(light, Feed(0.1), Heard(said, words))
    (clipped,) = _rows(Fault.CLIPPED)
    assert conditions[clipped] is said[Fault.CLIPPED]
    assert panel.detail(DETECTORS[clipped], 1) == "three flat tops"
    assert "0 flat tops" in panel.detail(DETECTORS[clipped], 0)
