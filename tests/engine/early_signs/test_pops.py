"""Pops in sound made from physics; noise, speech and blows that ring have none."""

from __future__ import annotations

import numpy as np
from scipy import signal

from engine.early_signs.pops import count_pops
from tests.engine.early_signs.test_short_events import RATE, room, seconds


def pops(sound: np.ndarray) -> int:
    """Pops of one track of samples at 48 kHz."""
    return sum(int(count_pops(second.ticks).sum()) for second in seconds(sound[:, None]))


def test_room_tone_has_none() -> None:
    """Twenty seconds of it."""
    assert pops(room(20.0, np.random.default_rng(0))) == 0


def test_each_pop_is_counted() -> None:
    """A step of a contact that decays within a millisecond (first-order high-pass)."""
    rng = np.random.default_rng(3)
    sound = room(20.0, rng)
    for second in range(12, 18):
        at = second * RATE + 2000
        sound[at : at + 480] += 0.05 * np.exp(-np.arange(480) / 15.0)
    assert pops(sound) == 6


def test_pops_are_counted_while_somebody_speaks() -> None:
    """The same of 2 ms under a buzz of -26 dBFS that falls by 12 dB an octave over 500 Hz, about as
    speech does in the long run (D. Byrne et al., JASA 96 (1994), 2108; from memory)."""
    rng = np.random.default_rng(4)
    sound = room(20.0, rng)
    pulses = np.zeros(len(sound))
    pulses[:: RATE // 150] = 1.0
    sos = signal.butter(2, 500.0, fs=RATE, output="sos")
    voice = signal.sosfilt(sos, pulses)
    sound += voice * 0.035 / voice.std()
    assert pops(sound) == 0
    for second in range(12, 18):
        at = second * RATE + 2000
        sound[at : at + 480] += 0.2 * np.exp(-np.arange(480) / 30.0)
    assert pops(sound) == 6


def test_a_blow_that_rings_is_no_pop() -> None:
    """A knock on wood: 2 kHz that decays in 5 ms."""
    rng = np.random.default_rng(5)
    sound = room(20.0, rng)
    t = np.arange(2400) / RATE
    for second in range(12, 18):
        at = second * RATE + 2000
        sound[at : at + 2400] += 0.2 * np.exp(-t / 0.005) * np.sin(2 * np.pi * 2000.0 * t)
    assert pops(sound) == 0


def test_ticks_without_samples_say_none() -> None:
    """Nothing is guessed where there is nothing to count by."""
    rng = np.random.default_rng(3)
    sound = room(1.0, rng)
    sound[2000:2480] += 0.05 * np.exp(-np.arange(480) / 15.0)
    (second,) = seconds(sound[:, None])
    assert count_pops(second.ticks).sum() == 1
    light = [m.without_samples() for m in second.ticks]
    assert count_pops(light).tolist() == [[0]] * 10


def test_what_another_track_has_as_well_is_no_pop() -> None:
    """A click of the lips that both packs hear, within a hop; a cable of one alone is counted, even
    where the other pack hears a consonant begin meanwhile."""
    rng = np.random.default_rng(6)
    sound = np.stack([room(10.0, rng) for _ in range(3)], axis=1)
    for second, tracks in ((5, [0, 1]), (6, [0]), (7, [2, 0]), (8, [0])):
        for track, later in zip(tracks, (0, 300), strict=False):
            at = second * RATE + 2000 + later
            sound[at : at + 480, track] += 0.05 * np.exp(-np.arange(480) / 15.0)
    hiss = 2e-3 * rng.standard_normal(4800)
    sound[8 * RATE + 2400 : 8 * RATE + 7200, 1] += hiss * np.minimum(np.arange(4800) / 480.0, 1.0)
    total = sum(count_pops(second.ticks).sum(axis=0) for second in seconds(sound))
    assert total.tolist() == [2, 0, 0]
