"""Short gaps, bursts and pops in sound made from physics; noise and health have none."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from engine.early_signs.short_events import ShortEvents
from engine.model.tracks import Scene, Track
from engine.pipeline.framing import TickFramer

RATE = 48_000


def counts(sound: np.ndarray) -> np.ndarray:
    """Gaps, bursts, pops of one track of samples at 48 kHz."""
    framer = TickFramer(Scene((Track(1),), RATE))
    events = ShortEvents(1)
    total = np.zeros(3, dtype=np.int64)
    for tick in framer.feed(sound.astype(np.float32)[:, None]):
        total += np.array([row[0] for row in events.count(tick.measurement)])
    return total


def room(seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Room tone that falls by 6 dB an octave above 300 Hz, RMS 1e-3."""
    tone = signal.lfilter([0.04], [1.0, -0.96], rng.standard_normal(round(seconds * RATE)))
    return tone * 1e-3 / tone.std()


@pytest.mark.parametrize("seed", range(4))
def test_a_place_that_rumbles_has_next_to_none(seed: int) -> None:
    """A minute of traffic: narrow noise about 50 Hz, 30 dB over the rest; at most one by chance."""
    rng = np.random.default_rng(seed)
    sos = signal.butter(2, (35.0, 70.0), "bandpass", fs=RATE, output="sos")
    rumble = signal.sosfilt(sos, rng.standard_normal(60 * RATE))
    gaps, _, _ = counts(room(60.0, rng) + rumble * 3e-2 / rumble.std())
    assert gaps <= 1


@pytest.mark.parametrize("seed", range(4))
def test_room_tone_has_next_to_none(seed: int) -> None:
    """Twenty seconds of room tone: at most one gap by chance, no burst, no pop."""
    gaps, bursts, pops = counts(room(20.0, np.random.default_rng(seed)))
    assert gaps <= 1
    assert bursts == 0
    assert pops == 0


def test_each_gap_of_four_milliseconds_is_counted() -> None:
    """A link that fails for 4 ms at a time, too short for an alarm."""
    rng = np.random.default_rng(1)
    sound = room(20.0, rng)
    for second in range(12, 18):
        at = second * RATE + 1234
        sound[at : at + 192] = 0.0
    assert counts(sound)[0] == 6


def test_each_burst_of_white_noise_is_counted() -> None:
    """3 ms of white noise over the room tone."""
    rng = np.random.default_rng(2)
    sound = room(20.0, rng)
    for second in range(12, 18):
        at = second * RATE + 2000
        sound[at : at + 144] += 2e-2 * rng.standard_normal(144)
    assert counts(sound)[1] == 6


def test_each_pop_is_counted() -> None:
    """A step of a contact that decays within a millisecond (first-order high-pass)."""
    rng = np.random.default_rng(3)
    sound = room(20.0, rng)
    for second in range(12, 18):
        at = second * RATE + 2000
        sound[at : at + 480] += 0.05 * np.exp(-np.arange(480) / 15.0)
    assert counts(sound)[2] == 6


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
    assert counts(sound)[2] == 0
    for second in range(12, 18):
        at = second * RATE + 2000
        sound[at : at + 480] += 0.2 * np.exp(-np.arange(480) / 30.0)
    assert counts(sound)[2] == 6


def test_a_blow_that_rings_is_no_pop() -> None:
    """A knock on wood: 2 kHz that decays in 5 ms."""
    rng = np.random.default_rng(5)
    sound = room(20.0, rng)
    t = np.arange(2400) / RATE
    for second in range(12, 18):
        at = second * RATE + 2000
        sound[at : at + 2400] += 0.2 * np.exp(-t / 0.005) * np.sin(2 * np.pi * 2000.0 * t)
    assert counts(sound)[2] == 0


def test_an_s_that_both_packs_hear_is_no_burst() -> None:
    """Hiss of 15 ms on both packs of a performer is speech; on one alone it is the link."""
    rng = np.random.default_rng(6)
    quiet = np.stack([room(20.0, rng), room(20.0, rng)], axis=1)
    hiss = 2e-2 * rng.standard_normal(720)
    totals = []
    for on in ([0, 1], [0]):
        sound = quiet.copy()
        for second in range(12, 18):
            at = second * RATE + 2000
            sound[at : at + 720, on] += hiss[:, None]
        framer = TickFramer(Scene((Track(1), Track(2)), RATE))
        events = ShortEvents(2, np.array([[0, 1]]))
        ticks = framer.feed(sound.astype(np.float32))
        totals.append(sum(events.count(tick.measurement)[1][0] for tick in ticks))
    assert totals == [0, 6]


def test_an_s_that_lasts_is_no_burst() -> None:
    """80 ms of hiss on a single pack, as often within a tick as over the end of one."""
    rng = np.random.default_rng(7)
    sound = room(20.0, rng)
    for n in range(20):
        at = round((12.0 + 0.33 * n) * RATE)
        sound[at : at + 3840] += 2e-2 * rng.standard_normal(3840)
    assert counts(sound)[1] == 0
