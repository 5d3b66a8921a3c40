"""The detectors of a watch asked together."""

from __future__ import annotations

import numpy as np

from engine.detectors.bank import DetectorBank
from engine.detectors.base import TickContext
from engine.detectors.clipped import Clipped
from engine.detectors.registry import DETECTORS
from engine.model.fault_remedies import FAULTS
from engine.model.messages import Fault, State
from engine.model.tick import SampleFindings
from engine.pipeline.framing import TickFramer
from tests.support.conditions import blank
from tests.support.signals import noise, scene

RATE_HZ = 48_000


def _rules(*faults: Fault) -> list[str]:
    return [rule.name for rule in FAULTS if rule.fault in faults]


def test_each_rule_says_something_and_what_nobody_looks_for_says_nothing() -> None:
    """A condition for each rule; without a timecode track or a pair those rules know nothing."""
    panel = DetectorBank(scene(2, RATE_HZ), FAULTS)
    (tick,) = TickFramer(scene(2, RATE_HZ)).feed(noise(-40.0, 0.1, RATE_HZ, tracks=2))
    said = panel.ask(tick.measurement, TickContext(0.1))
    assert set(said) == set(DETECTORS)
    for number in _rules(Fault.TIMECODE, Fault.UNEXPECTED):
        assert (said[number].state == State.UNKNOWN).all()
    (muted,) = _rules(Fault.MUTED)
    assert (said[muted].state == State.CLEAR).all()


def test_what_was_asked_elsewhere_is_taken_over_with_its_words() -> None:
    """The word of the measuring side stands for the detector's own, until it says another."""
    panel = DetectorBank(scene(2, RATE_HZ), FAULTS)
    (tick,) = TickFramer(scene(2, RATE_HZ)).feed(noise(-40.0, 0.1, RATE_HZ, tracks=2))
    said = {name: blank(2) for name, kind in DETECTORS.items() if kind.NEEDS_SAMPLES}
    said["clipped"].state[:] = np.int8(State.ACTIVE)
    light = tick.measurement.without_samples()
    words = {("clipped", 1): "three flat tops"}
    conditions = panel.ask(light, TickContext(0.1), SampleFindings(said, words))
    (clipped,) = [rule for rule in FAULTS if rule.fault is Fault.CLIPPED]
    assert conditions["clipped"] is said["clipped"]
    assert panel.detail(clipped, 1) == "three flat tops"
    (own,) = (one for one in panel.detectors if isinstance(one, Clipped))
    assert panel.detail(clipped, 0) == own.detail(0) != "three flat tops"
