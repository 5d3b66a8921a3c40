"""Tower and square: their sounds, their echoes, and what reaches each spot. All at `WORLD_HZ`.

Slow movements are drawn on coarse grids and interpolated, so that no filter runs close to
instability; that keeps last-bit differences between processors from growing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.random import PCG64, Generator
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

from demo_audio.script import BELL_M, SPOTS, STROKES_S, WORLD_HZ, Spot
from demo_audio.voices import WORLD_FRAMES, Sound

SOUND_M_PER_S: Final = 340.0
MOUTH_TO_PACK_M: Final = 0.25
BODY_SHADOW: Final = 0.6
"""A pack under clothing hears other people this much weaker than the open air does."""

ECHOES: Final = ((0.0047, 0.17), (0.0119, -0.12), (0.0263, 0.09), (0.0481, -0.06), (0.143, 0.04))
"""Delay (s) and share of the direct sound: tower wall, planks, buttress, and the house fronts."""

DULL_ABOVE_HZ: Final = 3000.0
DULL_DB_PER_M: Final = -0.4
"""Distance takes the treble away: wind, sheeting and turned heads more than the air itself."""

BREATH_DB: Final = -3.0
"""A wearer's breath against the place, on a main pack."""

OWN_ECHOES: Final = 0.25
"""A pack on the chest hears its wearer's echoes this much weaker than its wearer."""


def generator(*key: int) -> Generator:
    """The random numbers of one part of the take; the same on every run."""
    return Generator(PCG64([1930, *key]))


def rms(sound: Sound) -> float:
    """Plain root mean square."""
    return float(np.sqrt(np.mean(np.square(sound))))


def band(sound: Sound, low_hz: float, high_hz: float, order: int = 1) -> Sound:
    """Band-pass, Butterworth."""
    sos = butter(order, [low_hz, high_hz], "bandpass", fs=WORLD_HZ, output="sos")
    return np.asarray(sosfilt(sos, sound))


def low_pass(sound: Sound, below_hz: float) -> Sound:
    """First-order low-pass."""
    pole = math.exp(-2.0 * math.pi * below_hz / WORLD_HZ)
    return np.asarray(lfilter([1.0 - pole], [1.0, -pole], sound))


def shelf(sound: Sound, above_hz: float, gain_db: float) -> Sound:
    """First-order high shelf."""
    if gain_db == 0.0:
        return sound
    gain = float(10.0 ** (gain_db / 20.0))
    out = low_pass(sound, above_hz)
    out *= 1.0 - gain
    out += gain * sound
    return out


def delayed(sound: Sound, delay_s: float) -> Sound:
    """The same length, later by whole frames."""
    frames = round(delay_s * WORLD_HZ)
    return np.asarray(np.concatenate([np.zeros(frames), sound[: len(sound) - frames]]))


def drift(rng: Generator, step_s: float, low: float, high: float) -> Sound:
    """A slow random movement between two values, one new value each `step_s`."""
    step = round(step_s * WORLD_HZ)
    values = rng.uniform(low, high, WORLD_FRAMES // step + 2)
    ramp = np.arange(step) / step
    moves = values[:-1, None] + np.diff(values)[:, None] * ramp
    return np.asarray(moves.ravel()[:WORLD_FRAMES])


def noise(rng: Generator) -> Sound:
    """White noise of RMS 1, evenly distributed: the bits are the same on every processor."""
    white = rng.random(WORLD_FRAMES)
    white -= 0.5
    white *= math.sqrt(12.0)
    return white


def sheet(rng: Generator) -> Sound:
    """Sheeting on a scaffold: cloth that flaps in the wind, in short flurries."""
    flap = drift(rng, 0.09, 0.0, 0.6) * drift(rng, 1.3, 0.3, 1.0)
    flap += 0.6
    flap *= band(noise(rng), 220.0, 1300.0)
    flap += band(noise(rng), 900.0, 3200.0) * drift(rng, 0.07, 0.1, 0.5)
    return flap


def wind(rng: Generator) -> Sound:
    """Gusts at one microphone: low noise with some hiss."""
    gust = drift(rng, 1.9, 0.7, 1.25)
    white = noise(rng)
    blow = band(white, 70.0, 320.0)
    hiss = band(white, 1000.0, 5000.0)
    hiss *= 0.04
    blow += hiss
    blow *= gust
    return blow


def breath(rng: Generator) -> Sound:
    """Breathing in and out, every four seconds or so."""
    cycle = round(rng.uniform(3.6, 4.6) * WORLD_HZ)
    swell = np.maximum(0.0, np.sin(2.0 * np.pi * np.arange(cycle) / cycle)) ** 2
    return band(noise(rng), 350.0, 1600.0) * np.resize(swell, WORLD_FRAMES)


def winch(rng: Generator) -> Sound:
    """The crane's winch some way off; its speed wanders, so it is no steady comb like mains hum."""
    phase = np.cumsum(drift(rng, 0.4, 32.5, 36.5)) / WORLD_HZ
    harmonics = np.arange(1, 24)
    turn = np.arange(4096) / 4096.0
    weights = rng.uniform(0.4, 1.0, len(harmonics)) / np.sqrt(harmonics)
    shifts = rng.uniform(0.0, 2.0 * np.pi, len(harmonics))
    cycle = sum(
        w * np.sin(2.0 * np.pi * h * turn + s)
        for h, w, s in zip(harmonics, weights, shifts, strict=True)
    )
    throb = np.asarray(cycle)[(phase * 4096).astype(np.int64) % 4096] * drift(rng, 0.07, 0.4, 1.0)
    return throb + 1.5 * band(noise(rng), 90.0, 500.0)


def crowd(rng: Generator, sources: list[Sound]) -> Sound:
    """Many people talking far away: our own lines layered at three pitches, low-passed."""
    variants = [
        np.interp(np.arange(0.0, len(s) - 1.0, step), np.arange(len(s)), s)
        for s in sources
        for step in (0.87, 1.0, 1.13)
    ]
    out = np.zeros(WORLD_FRAMES)
    for _ in range(32):
        at = -int(rng.integers(0, 4 * WORLD_HZ))
        level = rng.uniform(0.5, 1.0)
        while at < WORLD_FRAMES:
            sound = variants[int(rng.integers(0, len(variants)))]
            piece = sound[max(0, -at) : max(0, WORLD_FRAMES - at)]
            start = max(0, at)
            out[start : start + len(piece)] += level * piece
            at += len(sound) + int(rng.integers(0, WORLD_HZ // 2))
    return band(out, 180.0, 1700.0)


def chain(rng: Generator) -> Sound:
    """A link of the hoist chain knocking on steel, now and then."""
    t = np.arange(WORLD_HZ // 2) / WORLD_HZ
    ring = sum(
        a * np.exp(-t * d) * np.sin(2.0 * np.pi * f * t)
        for f, a, d in ((1310.0, 1.0, 22.0), (2477.0, 0.7, 27.0), (3989.0, 0.4, 35.0))
    )
    return _scattered(rng, [np.asarray(ring)], 0.5, 3.4)


def jackdaws(rng: Generator) -> Sound:
    """A few jackdaws about the tower: short calls that fall."""
    calls = []
    for top_hz in (1350.0, 1600.0):
        t = np.arange(round(0.16 * WORLD_HZ)) / WORLD_HZ
        pitch_hz = top_hz * (1.0 - 0.4 * t / t[-1])
        phase = 2.0 * np.pi * np.cumsum(pitch_hz) / WORLD_HZ
        tone = np.sin(phase) + 0.6 * np.sin(2.0 * phase) + 0.3 * np.sin(3.0 * phase)
        call = tone * np.sin(np.pi * t / t[-1])
        gap = np.zeros(WORLD_HZ // 5)
        calls += [call, np.concatenate([call, gap, 0.8 * call])]
    return _scattered(rng, calls, 3.0, 11.0)


PARTIALS: Final = (
    (0.5, 0.35, 0.35),
    (1.0, 0.8, 0.7),
    (1.2, 0.9, 0.8),
    (1.5, 0.25, 1.4),
    (2.0, 1.0, 1.3),
    (2.5, 0.35, 2.2),
    (3.0, 0.5, 2.0),
    (4.0, 0.3, 3.2),
    (5.1, 0.2, 5.0),
)
"""Of a tuned bell: ratio to the prime (hum, prime, tierce, quint, nominal and above), height at the
stroke, decay in nepers a second. Ratios: W. Hibbert, "The sound of bells"; the rest is ours."""
PRIME_HZ: Final = 430.0
"""Between the multiples of 50 and 60 Hz, and so are its partials."""


def stroke() -> Sound:
    """One stroke of the clapper on the bell, peak 1, shape (frames,)."""
    t = np.arange(12 * WORLD_HZ) / WORLD_HZ
    ring = sum(
        height * np.exp(-decay * t) * np.sin(2.0 * np.pi * PRIME_HZ * ratio * t)
        for ratio, height, decay in PARTIALS
    )
    clap = np.exp(-90.0 * t) * np.sin(2.0 * np.pi * 2900.0 * t)
    struck = np.asarray((ring + 0.8 * clap) * np.minimum(t / 0.0008, 1.0))
    return struck / float(np.max(np.abs(struck)))


def strokes(gain_db: float = 0.0) -> Sound:
    """All strokes of the take, each of that peak, as they leave the bell."""
    one = float(10.0 ** (gain_db / 20.0)) * stroke()
    out = np.zeros(WORLD_FRAMES)
    for at_s in STROKES_S:
        start = round(at_s * WORLD_HZ)
        piece = one[: WORLD_FRAMES - start]
        out[start : start + len(piece)] += piece
    return out


def bell_at(spot: Spot, struck: Sound) -> Sound:
    """The bell as it reaches one spot, at its stated level, the later the further away."""
    distance_m = math.hypot(spot.x_m - BELL_M[0], spot.y_m - BELL_M[1])
    gain = float(10.0 ** (spot.stroke_dbfs / 20.0))
    bright = 10.0 ** (DULL_DB_PER_M * distance_m / 20.0)
    far = bright * struck + (1.0 - bright) * low_pass(struck, DULL_ABOVE_HZ)
    return gain * delayed(far, distance_m / SOUND_M_PER_S)


def _scattered(rng: Generator, events: list[Sound], least_s: float, most_s: float) -> Sound:
    out = np.zeros(WORLD_FRAMES)
    at = int(rng.uniform(least_s, most_s) * WORLD_HZ)
    while at < WORLD_FRAMES:
        event = events[int(rng.integers(0, len(events)))][: WORLD_FRAMES - at]
        out[at : at + len(event)] += rng.uniform(0.3, 1.0) * event
        at += int(rng.uniform(least_s, most_s) * WORLD_HZ)
    return out


def common_sounds(lines: list[Sound]) -> dict[str, NDArray[np.float32]]:
    """The sounds every spot shares; the steady ones at RMS 1, the rare ones at peak 10.

    Made one after the other and kept in single precision, for the sake of memory.
    """
    return {
        "sheet": _levelled(sheet(generator(1))),
        "winch": _levelled(winch(generator(2))),
        "crowd": _levelled(crowd(generator(3), lines)),
        "chain": _levelled(chain(generator(4)), peak=10.0),
        "jackdaws": _levelled(jackdaws(generator(5)), peak=10.0),
    }


def _levelled(sound: Sound, peak: float = 0.0) -> NDArray[np.float32]:
    """Scaled to that peak, or to RMS 1 where none is given."""
    gain = peak / float(np.max(np.abs(sound))) if peak else 1.0 / rms(sound)
    return (gain * sound).astype(np.float32)


def ambience(spot: Spot, sounds: Mapping[str, NDArray[np.float32]], rng: Generator) -> Sound:
    """The place as heard at one spot, at its stated level; wind is each spot's own."""
    blow = wind(rng)
    heard = spot.mix["wind"] / rms(blow) * blow
    late = round((spot.x_m + spot.y_m) / SOUND_M_PER_S * WORLD_HZ)
    for name, sound in sounds.items():
        if name in spot.mix:
            # Rolled, not shifted in from silence: the place was there before the take began.
            heard += spot.mix[name] * np.roll(sound, late)
    heard *= sine_amplitude(spot.place_dbfs) / rms(heard)
    if spot.wearer:
        heard += scaled(breath(rng), spot.place_dbfs + BREATH_DB)
    return heard


def sine_amplitude(level_dbfs: float) -> float:
    """RMS amplitude of a level in dBFS as AES17 has it: a sine of peak 1 reads 0."""
    return float(10.0 ** (level_dbfs / 20.0)) / math.sqrt(2.0)


def scaled(sound: Sound, level_dbfs: float) -> Sound:
    """That sound at an AES17 RMS level."""
    return (sine_amplitude(level_dbfs) / rms(sound)) * sound


@dataclass(frozen=True, slots=True)
class Speech:
    """One role's speech: as said, with the echoes of the place, and the low part of that."""

    said: NDArray[np.float32]
    wet: NDArray[np.float32]
    low: NDArray[np.float32]


def in_the_open(stem: Sound) -> Speech:
    """What the place makes of one role's speech, before any distance."""
    dull = shelf(stem, 2000.0, -6.0)
    wet = stem + sum(share * delayed(dull, at_s) for at_s, share in ECHOES)
    low = low_pass(wet, DULL_ABOVE_HZ)
    return Speech(stem.astype(np.float32), wet.astype(np.float32), low.astype(np.float32))


def voices_at(spot: Spot, speech: Mapping[str, Speech]) -> Sound:
    """Everyone's speech as it reaches one spot: the wearer close, the others by their distance."""
    out = np.zeros(WORLD_FRAMES)
    for who, heard in speech.items():
        if who == spot.wearer:
            out += heard.said + OWN_ECHOES * (heard.wet - heard.said)
            continue
        other = SPOTS[who]
        distance_m = max(1.0, math.hypot(spot.x_m - other.x_m, spot.y_m - other.y_m))
        gain = MOUTH_TO_PACK_M / distance_m * 10.0 ** (spot.reach_db / 20.0)
        gain *= BODY_SHADOW if spot.wearer else 1.0
        bright = 10.0 ** (DULL_DB_PER_M * distance_m / 20.0)
        late = round(distance_m / SOUND_M_PER_S * WORLD_HZ)
        far = gain * bright * heard.wet + gain * (1.0 - bright) * heard.low
        out[late:] += far[:-late]
    return out
