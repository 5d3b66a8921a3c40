"""No detector leans on another: taking a rule out changes nothing that the others say."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from engine.detectors.bank import DetectorBank
from engine.detectors.base import TickContext
from engine.detectors.registry import DETECTORS
from engine.detectors.sample_bank import SampleDetectorBank
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import FaultRule
from engine.model.messages import Condition, Kind, PackLevel, Samples
from engine.model.tracks import Scene, Track
from engine.pipeline import measure_ahead
from engine.pipeline.framing import TickFramer
from engine.pipeline.measure_ahead import measure
from engine.sources.synthetic import ArraySource
from tests.support.signals import noise, sine

RATE_HZ = 16_000
SCENE = Scene(
    (
        Track(1, who="foreman", level=PackLevel.MAIN),
        Track(2, who="foreman", level=PackLevel.SAFETY),
        Track(3, kind=Kind.BOOM),
        Track(4, kind=Kind.UNUSED),
    ),
    RATE_HZ,
)
RULES = [pytest.param(rule, id=rule.name) for rule in FAULTS]

Said = dict[str, list[bytes]]


@cache
def sound() -> Samples:
    """Fourteen seconds with something for most rules: bursts of voice, hum, gaps, flat tops."""
    seconds = 14.0
    x = noise(-55.0, seconds, RATE_HZ, seed=3, tracks=4)
    voice = np.repeat(np.random.default_rng(4).random(round(seconds * 4)) < 0.6, RATE_HZ // 4)
    words = noise(-22.0, seconds, RATE_HZ, seed=5)[:, 0] * voice
    x[:, 0] += words
    x[:, 1] -= words * np.where(np.arange(len(x)) < 11 * RATE_HZ, 0.3, 0.05)
    x[6 * RATE_HZ :, 2] += sine(-45.0, seconds - 6.0, RATE_HZ, 50.0)[:, 0]
    x[:, 3] = np.where(np.arange(len(x)) > 8 * RATE_HZ, x[:, 2], 0.0)
    x[5 * RATE_HZ : 5 * RATE_HZ + 800, 0] = 0.0
    x[7 * RATE_HZ : 7 * RATE_HZ + 40, 1] = np.nan
    loud = slice(9 * RATE_HZ, 10 * RATE_HZ)
    x[loud, 2] = np.clip(sine(3.0, 1.0, RATE_HZ, 220.0)[:, 0], -0.9, 0.9)
    x[12 * RATE_HZ :, 0] = 0.0
    return x.astype(np.float32)


def _bytes(condition: Condition) -> bytes:
    active = condition.state == 1
    return b"".join(
        array.tobytes()
        for array in (
            condition.state,
            condition.onset_s[active],
            condition.last_s[active],
            condition.may_be_red,
        )
    )


def said_here(rules: tuple[FaultRule, ...]) -> Said:
    """What each of these rules says, tick by tick, all of it in one process."""
    bank, said = DetectorBank(SCENE, rules), {rule.name: [] for rule in rules}
    for tick in TickFramer(SCENE).feed(sound()):
        m = tick.measurement
        for name, condition in bank.ask(m, TickContext(m.end_s)).items():
            said[name].append(_bytes(condition))
    return said


def said_apart(rules: tuple[FaultRule, ...]) -> Said:
    """The same with the samples left behind where those were asked that need them."""
    bank, said = DetectorBank(SCENE, rules), {rule.name: [] for rule in rules}
    ears = SampleDetectorBank(SCENE, rules)
    for part in measure(ArraySource(sound(), RATE_HZ), SCENE, ears):
        for tick in part.ticks:
            m = tick.measurement
            for name, condition in bank.ask(m, TickContext(m.end_s), tick.heard).items():
                said[name].append(_bytes(condition))
    return said


@cache
def all_say() -> Said:
    """What all rules say together."""
    return said_here(FAULTS)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("asked", [said_here, said_apart])
def test_without_any_one_rule_the_others_say_the_same(rule, asked) -> None:
    """Every other rule's conditions are the same, in one process and with the samples apart."""
    others = tuple(other for other in FAULTS if other is not rule)
    said = asked(others)
    assert set(said) == set(DETECTORS) - {rule.name}
    assert said == {name: conditions for name, conditions in all_say().items() if name in said}


def test_the_sound_makes_several_rules_speak() -> None:
    """The comparison is not of silence: many rules become active on that sound."""
    clear = {name: set(conditions) for name, conditions in all_say().items()}
    assert sum(len(conditions) > 1 for conditions in clear.values()) >= 8


def test_the_two_process_scan_is_the_same_without_noise_bursts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Across a real process boundary nothing is missing that a taken-out detector had made."""
    take = tmp_path / "take.wav"
    sf.write(take, np.nan_to_num(sound()), RATE_HZ, subtype="FLOAT")
    rules = tuple(rule for rule in FAULTS if rule.name != "noise_burst")
    monkeypatch.setattr(
        measure_ahead, "SampleDetectorBank", lambda scene: SampleDetectorBank(scene, rules)
    )
    bank = DetectorBank(SCENE, rules)
    ticks = [tick for part in measure_ahead.measure_ahead(take, SCENE) for tick in part.ticks]
    assert ticks
    for tick in ticks:
        assert tick.heard is not None
        assert "noise_burst" not in tick.heard.said
        bank.ask(tick.measurement, TickContext(tick.measurement.end_s), tick.heard)
