"""Who speaks when: turns, pauses, shouts, a minute of silence; and a silent wearer's sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import signal

from tests.benchmarks.detection.library import RATE, Audio, Recording, cut, gain

SHOUT_PEAK: Final = 0.85


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One performer's own sound at the mouth, as the main pack takes it, and when it is there.

    voice : (frames,) speech alone; body : (frames,) breath and cloth at a level of 1 over the floor
    turns : begin and end of each turn of speech, s; quiet : the long silence, s
    shouts : begin and end of each shout, s
    """

    voice: Audio
    body: Audio
    turns: tuple[tuple[float, float], ...]
    quiet: tuple[float, float]
    shouts: tuple[tuple[float, float], ...]


def act(voice: Recording, seconds: float, rng: np.random.Generator, calm: bool) -> Part:
    """A part of that length; a calm one has a silence of a minute or more, and no shouts."""
    speech = np.zeros(int(seconds * RATE), dtype=np.float32)
    quiet = (0.0, 0.0)
    if calm:
        begin = rng.uniform(20.0, max(21.0, seconds - 75.0))
        quiet = (begin, min(begin + rng.uniform(60.0, 70.0), seconds))
    turns: list[tuple[float, float]] = []
    shouts: list[tuple[float, float]] = []
    at, clip = rng.uniform(0.0, 4.0), int(rng.integers(1 << 16))
    while at < seconds - 1.0:
        begin, until = at, min(at + rng.uniform(5.0, 20.0), seconds - 1.0)
        if begin < quiet[1] and until > quiet[0]:
            until = min(until, quiet[0])
        while at < until:
            phrase = voice.clip(clip)[: int((seconds - at) * RATE)]
            clip += 1
            shout = not calm and rng.random() < 0.08
            level = _shout_gain(phrase) if shout else gain(rng.uniform(-4.0, 3.0))
            level = min(level, SHOUT_PEAK / max(float(np.abs(phrase).max(initial=0.0)), 1e-6))
            first = int(at * RATE)
            speech[first : first + len(phrase)] += phrase * np.float32(level)
            end = at + len(phrase) / RATE
            shouts += [(at, end)] if shout else []
            at = end + rng.uniform(0.05, 0.6)
        if at > begin:
            turns.append((begin, at))
        at += rng.uniform(2.0, 10.0)
        if quiet[0] - 2.0 <= at < quiet[1]:
            at = quiet[1] + rng.uniform(0.0, 1.0)
    return Part(speech, _body(len(speech), rng), tuple(turns), quiet, tuple(shouts))


def _shout_gain(phrase: Audio) -> float:
    return float(SHOUT_PEAK / max(float(np.abs(phrase).max(initial=0.0)), 1e-6))


def _body(frames: int, rng: np.random.Generator) -> Audio:
    """Breath (a rise and fall every 3 to 5 s) and cloth (rustles of 0.1 to 0.6 s); synthesised."""
    noise = rng.standard_normal(RATE * 20, dtype=np.float32)
    airy = signal.sosfilt(
        signal.butter(1, (300.0, 4000.0), "bandpass", fs=RATE, output="sos"), noise
    ).astype(np.float32)
    airy /= airy.std()
    cycle_s, phase = rng.uniform(3.0, 5.0), rng.uniform(0.0, 6.3)
    coarse_s = np.arange(0.0, frames / RATE + 0.1, 0.02)
    breath = np.maximum(np.sin(2 * np.pi * coarse_s / cycle_s + phase), 0.0) ** 2
    envelope = 0.7 * breath
    for _ in range(rng.poisson(frames / RATE / 8.0)):
        begin = rng.uniform(0.0, coarse_s[-1])
        rustle = (coarse_s >= begin) & (coarse_s < begin + rng.uniform(0.1, 0.6))
        envelope[rustle] += rng.uniform(0.5, 4.0)
    fine = np.repeat(envelope.astype(np.float32), RATE // 50)[:frames]
    return cut(airy, frames, rng) * fine
