"""The detectors of a watch asked together."""

from __future__ import annotations

from functools import cache

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.detectors.bank import DetectorBank
from engine.detectors.base import TickContext
from engine.detectors.clipped import Clipped
from engine.detectors.registry import DETECTORS
from engine.measure.tick_block import TickBlock
from engine.model.fault_remedies import FAULTS
from engine.model.messages import Fault, Kind, PackLevel, Samples, State
from engine.model.tick import SampleFindings
from engine.model.tracks import Scene, Track
from engine.pipeline.framing import TickFramer
from tests.support.conditions import blank
from tests.support.signals import noise, scene
from tests.support.watching import measurements

RATE_HZ = 48_000
CREW = Scene(
    (
        Track(1, who="ringer", level=PackLevel.MAIN),
        Track(2, who="ringer", level=PackLevel.SAFETY),
        *(Track(n, who=f"carrier {n}") for n in (3, 4, 5, 6)),
        Track(7, kind=Kind.BOOM),
    ),
    RATE_HZ,
)
SECONDS = 4.0


def _eventful() -> Samples:
    """Everybody speaks by turns; gaps, cut tops, a replay, lost frames, hum and hash come."""
    rng = np.random.default_rng(7)
    t = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    x = noise(-58.0, SECONDS, RATE_HZ, seed=5, tracks=7)
    for track in range(7):
        speaks = np.sin(2.0 * np.pi * (0.3 + 0.05 * track) * t + track) > 0.3
        x[:, track] += speaks * 0.1 * np.sin(2.0 * np.pi * (110 + 9 * track) * t) ** 9
    x[:, 1] = 0.3 * x[:, 0] + x[:, 1]
    for at_s in rng.uniform(2.0, SECONDS - 0.3, 8):
        x[round(at_s * RATE_HZ) :][: rng.integers(300, 4000), 2] *= 1e-4
    x[:, 3] = np.clip(3.0 * x[:, 3], -0.12, 0.12)
    x[120_000:130_000, 4] = x[110_000:120_000, 4]
    x[140_000:, 5] += 0.02 * np.sin(2.0 * np.pi * 50.0 * t[140_000:])
    x[150_000:153_000, 6] += noise(-20.0, 3000 / RATE_HZ, RATE_HZ)[:, 0]
    x[100_000:100_500, 0] = np.nan
    return np.delete(x, rng.integers(0, len(x), 6), axis=0).astype(np.float32)


MEASURED = measurements(_eventful(), CREW)


@cache
def _said(cuts: tuple[int, ...]) -> list[tuple[object, ...]]:
    """What all rules say of each tick; of the ticks between two cuts they are told before."""
    bank = DetectorBank(CREW, FAULTS)
    said = []
    for tick, (m, feed) in enumerate(MEASURED):
        if tick in cuts:
            end = min([cut for cut in cuts if cut > tick], default=len(MEASURED))
            bank.look_ahead(TickBlock([one for one, _ in MEASURED[tick:end]]))
        conditions = bank.ask(m, feed)
        for rule in FAULTS:
            c = conditions[rule.name]
            at = np.flatnonzero(c.state == State.ACTIVE)
            words = [bank.detail(rule, int(n)) for n in at]
            arrays = (c.state, c.onset_s[at], c.last_s[at], c.may_be_red[at])
            said.append((rule.name, *(one.tobytes() for one in arrays), words))
    assert not bank.problems
    return said


@given(cuts=st.sets(st.integers(0, len(MEASURED) - 1), max_size=12))
@settings(max_examples=8, deadline=None)
def test_told_before_or_not_all_say_the_same(cuts: set[int]) -> None:
    """Bit for bit and word for word, however ticks come together."""
    assert _said(tuple(sorted(cuts))) == _said(())


def test_the_eventful_sound_is_one() -> None:
    """Several rules see something in it, so that the test above says something."""
    active = {name for name, state, *_ in _said(()) if b"\x01" in state}
    assert {"dropout", "clipped", "noise_burst", "invalid_samples"} <= active


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
