"""Short gaps and bursts in sound made from physics; noise and health have none."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from engine.early_signs.second import TICKS, Second
from engine.early_signs.short_events import ShortEvents
from engine.model.tracks import Scene, Track
from engine.pipeline.framing import TickFramer

RATE = 48_000


def counts(sound: np.ndarray) -> np.ndarray:
    """Gaps and bursts of one track of samples at 48 kHz."""
    events = ShortEvents(np.ones(1, dtype=bool))
    total = np.zeros(2, dtype=np.int64)
    for second in seconds(sound[:, None]):
        total += np.array([row[0] for row in events.count(second)])
    return total


def seconds(sound: np.ndarray) -> list[Second]:
    """Samples at 48 kHz, shape (frames, tracks), measured."""
    tracks = tuple(Track(n + 1) for n in range(sound.shape[1]))
    framer = TickFramer(Scene(tracks, RATE))
    ticks = [tick.measurement for tick in framer.feed(sound.astype(np.float32))]
    return [Second.of(ticks[n : n + TICKS]) for n in range(0, len(ticks), TICKS)]


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
    gaps, _ = counts(room(60.0, rng) + rumble * 3e-2 / rumble.std())
    assert gaps <= 1


@pytest.mark.parametrize("seed", range(4))
def test_room_tone_has_next_to_none(seed: int) -> None:
    """Eighty seconds of room tone: at most one gap by chance, and no burst."""
    gaps, bursts = counts(room(80.0, np.random.default_rng(seed)))
    assert gaps <= 1
    assert bursts == 0


def test_each_gap_of_four_milliseconds_is_counted() -> None:
    """A link that fails for 4 ms at a time, too short for an alarm."""
    rng = np.random.default_rng(1)
    sound = room(40.0, rng)
    for second in range(30, 36):
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


def test_an_s_that_others_hear_is_no_burst() -> None:
    """Hiss of 15 ms on two mics, 10 ms later and 10 dB softer on one, is speech; alone a link."""
    rng = np.random.default_rng(6)
    quiet = np.stack([room(20.0, rng), room(20.0, rng)], axis=1)
    hiss = 2e-2 * rng.standard_normal(720)
    totals = []
    for other in (0.3, 0.0):
        sound = quiet.copy()
        for second in range(12, 18):
            at = second * RATE + 2000
            sound[at : at + 720, 0] += hiss
            sound[at + 480 : at + 1200, 1] += other * hiss
        events = ShortEvents(np.ones(2, dtype=bool))
        totals.append(sum(events.count(second)[1][0] for second in seconds(sound)))
    assert totals == [0, 6]


def test_a_place_that_goes_quiet_has_no_gap() -> None:
    """A fan that stops, 20 dB: the place is quieter from then on."""
    sound = room(60.0, np.random.default_rng(8))
    sound[: 40 * RATE] *= 10.0
    assert counts(sound)[0] == 0


def test_an_s_that_lasts_is_no_burst() -> None:
    """80 ms of hiss on a single pack, as often within a tick as over the end of one."""
    rng = np.random.default_rng(7)
    sound = room(20.0, rng)
    for n in range(20):
        at = round((12.0 + 0.33 * n) * RATE)
        sound[at : at + 3840] += 2e-2 * rng.standard_normal(3840)
    assert counts(sound)[1] == 0
