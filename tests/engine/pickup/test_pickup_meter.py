"""A performer in a room made of a direct sound and decaying noise: heard by the near mic, not afar.

Direct sound falls with distance and arrives with the speed of sound (343 m/s at 20 degrees C,
textbook); the room is Polack's statistical model.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Scene, Track
from engine.pickup.pickup_meter import PickupMeter
from engine.pipeline.framing import TickFramer

RATE = 48_000
TRACKS = (
    Track(1, "Rigger", Kind.LAV, "rigger", PackLevel.MAIN),
    Track(2, "Mason", Kind.LAV, "mason", PackLevel.MAIN),
    Track(3, "Boom near", Kind.BOOM),
    Track(4, "Boom far", Kind.BOOM),
    Track(5, "Radio", Kind.COMMS),
)


def voice(seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Syllables of coloured noise, four a second, RMS 0.05."""
    noise = signal.lfilter([1.0], [1.0, -0.95], rng.standard_normal(round(seconds * RATE)))
    t = np.arange(len(noise)) / RATE
    spoken = noise * np.maximum(np.sin(2 * np.pi * 2.0 * t), 0.0) ** 2
    return np.asarray(0.05 * spoken / spoken.std())


def at(sound: np.ndarray, metres: float, rng: np.random.Generator) -> np.ndarray:
    """That voice so far away, in a room with 0.4 s of reverberation."""
    direct = np.roll(sound, round(metres / 343.0 * RATE)) / metres
    tail = rng.standard_normal(RATE // 2) * 10 ** (-3 * np.arange(RATE // 2) / (0.4 * RATE))
    tail /= np.sqrt((tail**2).sum())
    return np.asarray(direct + 0.3 * signal.oaconvolve(sound, tail)[: len(sound)])


def scene(seconds: float = 30.0, seed: int = 1) -> np.ndarray:
    """The rigger speaks alone; the mason is silent in another place."""
    rng = np.random.default_rng(seed)
    said = voice(seconds, rng)
    said[: 12 * RATE] = 0.0  # floors are learned first
    out = 2e-4 * rng.standard_normal((len(said), len(TRACKS)))
    out[:, 0] += said
    out[:, 2] += at(said, 1.0, rng)
    out[:, 3] += at(said, 8.0, rng) * 0.5
    out[:, 4] += 0.1 * said
    return out.astype(np.float32)


def learned(sound: np.ndarray, faulty: tuple[int, ...] = ()) -> PickupMeter:
    """What is learned of that sound."""
    meter = PickupMeter(Scene(TRACKS, RATE))
    for tick in TickFramer(Scene(TRACKS, RATE)).feed(sound):
        meter.update(tick.measurement, faulty)
    return meter


@pytest.mark.parametrize("seed", range(3))
def test_the_near_boom_is_named_with_its_delay(seed: int) -> None:
    """The boom a metre away hears the rigger, 2.9 ms later; comms are never named."""
    meter = learned(scene(seed=seed))
    best = meter.map.best("rigger", 30.0)
    assert best is not None
    assert best.track == 3
    assert best.delay_s == pytest.approx(1.0 / 343.0, abs=5e-4)
    assert best.over_db > 10.0
    assert not best.guess
    assert 5 not in {p.track for p in meter.map.pickups("rigger", 30.0)}


def test_a_voice_under_a_tracks_own_sound_has_a_figure_that_can_be_read() -> None:
    """The near boom stands by a machine 20 dB louder than the voice: what is logged of it, if
    anything, lies between 20 dB under and 2 dB over that, and it is never named."""
    sound = scene()
    sound[:, 2] += 0.5 * np.random.default_rng(5).standard_normal(len(sound)).astype(np.float32)
    meter = PickupMeter(Scene(TRACKS, RATE))
    over_db = []
    meter.map.on_second = lambda _, __, seen: over_db.extend(
        s.over_db for s in seen if s.track == 3
    )
    for tick in TickFramer(Scene(TRACKS, RATE)).feed(sound):
        meter.update(tick.measurement, ())
    assert all(-20.0 <= figure < 2.0 for figure in over_db)
    assert 3 not in {p.track for p in meter.map.pickups("rigger", 30.0)}


def test_nobody_is_named_for_who_did_not_speak() -> None:
    """The mason was silent: nothing is known."""
    assert learned(scene()).map.best("mason", 30.0) is None


def test_a_mic_that_does_not_hear_is_not_named() -> None:
    """Two tracks with nothing in common: none."""
    sound = scene()
    rng = np.random.default_rng(9)
    sound[:, 2:4] = 1e-3 * rng.standard_normal((len(sound), 2))
    assert learned(sound).map.best("rigger", 30.0) is None


def test_a_mic_in_fault_teaches_nothing() -> None:
    """The near boom has an alarm: the far one is named."""
    best = learned(scene(), faulty=(2,)).map.best("rigger", 30.0)
    assert best is not None
    assert best.track == 4


def test_two_who_speak_at_once_teach_nothing() -> None:
    """Each has a voice of their own: nobody speaks alone."""
    sound = scene()
    said = voice(30.0, np.random.default_rng(77))
    said[: 12 * RATE] = 0.0
    sound[:, 1] += said.astype(np.float32)
    meter = learned(sound)
    assert meter.map.best("rigger", 30.0) is None
    assert meter.map.best("mason", 30.0) is None


def test_what_was_heard_is_forgotten_after_two_minutes() -> None:
    """Longer ago says nothing of where the mics are now."""
    meter = learned(scene())
    assert meter.map.best("rigger", 140.0) is not None
    assert meter.map.best("rigger", 151.0) is None
