"""Every rule of the table of faults against the checks that all detectors share."""

from __future__ import annotations

import re

import numpy as np
import pytest

from engine.detectors.base import Detector, TickContext
from engine.detectors.registry import DETECTORS
from engine.model.alarm_limits import LIMITS
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import FaultRule, Scope
from engine.model.messages import Condition, Fault, Kind, PackLevel, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.signals import noise
from tests.support.watching import measurements

RATE = 48_000
SCENE = Scene(
    (
        Track(1, who="foreman", level=PackLevel.MAIN),
        Track(2, who="foreman", level=PackLevel.SAFETY),
        Track(3, kind=Kind.AMBIENCE),
        Track(4, kind=Kind.COMMS),
        Track(5, kind=Kind.TIMECODE),
        Track(6, kind=Kind.UNUSED),
        Track(7, kind=Kind.BOOM),
    ),
    RATE,
)
TRACKS = len(SCENE.tracks)
RULES = [pytest.param(rule, id=rule.name) for rule in FAULTS]

pytestmark = pytest.mark.parametrize("rule", RULES)


def sound() -> Samples:
    """Two seconds of everything: room, digital zero, NaN, full scale, denormals."""
    x = noise(-50.0, 2.0, RATE, seed=9, tracks=TRACKS)
    x[RATE // 2 : RATE, 0] = 0.0
    x[RATE // 2 : RATE // 2 + 99, 1] = np.nan
    x[:, 2] = np.clip(x[:, 2] * 1000.0, -1.0, 1.0)
    x[RATE:, 3] = 1e-41
    return x


def arrays(condition: Condition) -> tuple[np.ndarray, ...]:
    """What may be read: state everywhere, the rest where active."""
    active = condition.state == State.ACTIVE
    return (
        condition.state,
        condition.onset_s[active],
        condition.last_s[active],
        condition.may_be_red,
    )


def assert_fits(rule: FaultRule, condition: Condition, now_s: float) -> None:
    """A condition has the right shapes, known states and times that can be."""
    tracks = 1 if rule.scope is Scope.INPUT else TRACKS
    assert condition.state.dtype == np.int8
    for array in (condition.state, condition.onset_s, condition.last_s, condition.may_be_red):
        assert array.shape == (tracks,)
    assert set(condition.state.tolist()) <= {s.value for s in State}
    active = condition.state == State.ACTIVE
    onset_s, last_s = condition.onset_s[active], condition.last_s[active]
    assert (onset_s >= 0.0).all()
    assert (onset_s <= last_s).all()
    assert (last_s <= now_s + 1e-9).all()
    assert not (condition.may_be_red & ~active).any()


def watch(rule: FaultRule, detector: Detector, samples: Samples) -> list[Condition]:
    """Conditions of every tick, each checked for its form."""
    said = []
    for m, feed in measurements(samples, SCENE):
        said.append(detector.update(m, feed))
        assert_fits(rule, said[-1], feed.now_s)
    return said


def test_everything_fits(rule: FaultRule) -> None:
    """Whatever comes, conditions have the right form and times inside the watch."""
    watch(rule, DETECTORS[rule.name](SCENE), sound())


def test_all_silence(rule: FaultRule) -> None:
    """Digital zero on every track stops nothing, and comms, timecode and unused say no loudness."""
    said = watch(rule, DETECTORS[rule.name](SCENE), np.zeros((RATE, TRACKS), dtype=np.float32))
    if rule.scope is Scope.TRACK and rule.fault not in (Fault.MUTED, Fault.TIMECODE):
        assert all((c.state[[3, 4, 5]] != State.ACTIVE).all() for c in said)


def test_no_numbers_at_all(rule: FaultRule) -> None:
    """Tracks of nothing but NaN are in no fault but lost samples."""
    said = watch(
        rule, DETECTORS[rule.name](SCENE), np.full((RATE, TRACKS), np.nan, dtype=np.float32)
    )
    if rule.fault not in (Fault.SAMPLES_LOST, Fault.TIMECODE):
        assert all((c.state != State.ACTIVE).all() for c in said)


def test_one_tick(rule: FaultRule) -> None:
    """A single tick is enough to be asked."""
    assert len(watch(rule, DETECTORS[rule.name](SCENE), sound()[: RATE // 10])) == 1


def test_reset_equals_new(rule: FaultRule) -> None:
    """After a reset a detector says the same as a new one."""
    used = DETECTORS[rule.name](SCENE)
    watch(rule, used, sound())
    used.reset()
    for a, b in zip(
        watch(rule, used, sound()), watch(rule, DETECTORS[rule.name](SCENE), sound()), strict=True
    ):
        for one, other in zip(arrays(a), arrays(b), strict=True):
            assert np.array_equal(one, other)


def test_deterministic(rule: FaultRule) -> None:
    """The same sound is told the same twice, line for line."""
    one, other = DETECTORS[rule.name](SCENE), DETECTORS[rule.name](SCENE)
    for a, b in zip(watch(rule, one, sound()), watch(rule, other, sound()), strict=True):
        for x, y in zip(arrays(a), arrays(b), strict=True):
            assert np.array_equal(x, y)


def test_never_alters_its_input(rule: FaultRule) -> None:
    """A detector reads the measurement and leaves it as it was."""
    detector = DETECTORS[rule.name](SCENE)
    names = ("samples", "peak_max", "peak_min", "mean_square", "valid", "lost", "present")
    for m, feed in measurements(sound(), SCENE):
        before = [getattr(m, name).tobytes() for name in names]
        detector.update(m, feed)
        assert [getattr(m, name).tobytes() for name in names] == before


def test_a_condition_is_not_altered_later(rule: FaultRule) -> None:
    """What was said of one tick stays as it was when the next is said."""
    detector, kept = DETECTORS[rule.name](SCENE), []
    for m, feed in measurements(sound(), SCENE):
        condition = detector.update(m, feed)
        kept.append((condition, [array.tobytes() for array in arrays(condition)]))
    assert all([a.tobytes() for a in arrays(c)] == before for c, before in kept)


def test_unknown_while_no_audio_comes(rule: FaultRule) -> None:
    """Of a track nothing is said while no audio comes; lost audio proves neither."""
    detector = DETECTORS[rule.name](SCENE)
    watch(rule, detector, sound())
    condition = detector.update(None, TickContext(3.0, stalled=True, reason="cable"))
    assert_fits(rule, condition, 3.0)
    if rule.scope is Scope.TRACK:
        assert (condition.state == State.UNKNOWN).all()


def test_detail_is_one_plain_line(rule: FaultRule) -> None:
    """What was seen of a fault is one short line of plain text, with numbers that are numbers."""
    detector = DETECTORS[rule.name](SCENE)
    for m, feed in measurements(sound(), SCENE):
        active = detector.update(m, feed).state == State.ACTIVE
        for place in np.flatnonzero(active):
            text = detector.detail(int(place))
            assert text
            assert text == text.strip()
            assert text.isprintable()
            assert len(text) <= 90
            assert not re.search(r"\b(nan|inf|None)\b", text)


def test_the_row_can_be_shown_and_delayed(rule: FaultRule) -> None:
    """Each rule has words, one line of what to check, and delays that the table of limits knows."""
    assert rule.word
    assert 0 < len(rule.check_first) <= 90
    assert rule.check_first.isprintable()
    for delay in (rule.amber_s, rule.red_s):
        assert delay in LIMITS if isinstance(delay, str) else delay >= 0.0
    assert rule.off_s >= 0.0
    assert rule.fault.value in LIMITS
