"""Harmless things that happen in the place round the mics, or by not happening at all."""

from __future__ import annotations

import numpy as np
from scipy import signal

from tests.benchmarks.night.cases import Span, harmless
from tests.benchmarks.night.harmless_inputs import BOOM, LONELY, in_air, thumps
from tests.benchmarks.night.scenes import LAVS, MICS, Take, reverberation
from tests.benchmarks.night.sounds import at_level, band, edges, gain, shaped, wander

Rng = np.random.Generator


@harmless(weight=4.0, from_start=True)
def says_nothing(take: Take, rng: Rng) -> Span:
    """The ringer says nothing: breath, cloth, and of the others' voices what comes over there."""
    take.audio[:, LONELY] = take.floor[:, LONELY] + gain(-12.0) * take.speech[:, LONELY]
    return Span((), 0.0, take.frames / take.rate)


@harmless(weight=3.0)
def all_are_quiet(take: Take, rng: Rng) -> Span:
    """From a moment on nobody speaks for 50 s; place, breath and cloth stay."""
    part = take.span(50.0)
    take.audio[part] = take.floor[part]
    return Span((), take.at_s, take.at_s + 50.0)


@harmless(weight=1.0)
def applause(take: Take, rng: Rng) -> Span:
    """Forty people clap for 10 s, each three to five times a second: bursts of a few ms round 1 to
    3 kHz (Repp, JASA 81, 1987), in the room."""
    frames = 10 * take.rate
    hands = np.zeros(frames, dtype=np.float32)
    t = np.arange(int(0.02 * take.rate)) / take.rate
    for _ in range(40):
        middle_hz, at = rng.uniform(900.0, 3000.0), 0.0
        clap = rng.standard_normal(len(t)) * np.exp(-t / 0.003)
        hollow = signal.butter(2, [middle_hz / 2, middle_hz * 2], "bandpass", fs=take.rate)
        clap = signal.lfilter(*hollow, clap)
        while at < frames - len(t):
            start = int(at)
            hands[start : start + len(t)] += (clap * rng.uniform(0.5, 1.5)).astype(np.float32)
            at += take.rate / rng.uniform(3.0, 5.0)
    room = at_level(hands + reverberation(hands, rng), 0.0) * edges(frames, take.rate)
    in_air(take, room, 92.0, take.frame(take.at_s), rng)
    return Span((), take.at_s, take.at_s + 10.0)


@harmless(weight=2.0)
def door(take: Take, rng: Rng) -> Span:
    """A heavy door slams twice: 60 Hz and a bang of 50 ms, ringing on in the nave."""
    t = np.arange(2 * take.rate) / take.rate
    bang = np.sin(2.0 * np.pi * 60.0 * t) * np.exp(-t / 0.12)
    bang += signal.lfilter([0.2], [1.0, -0.8], rng.standard_normal(len(t))) * np.exp(-t / 0.05)
    slam = (bang / np.abs(bang).max()).astype(np.float32)
    rung = slam + reverberation(slam, rng) * np.float32(1.5)
    for later_s in (0.0, 6.0):
        in_air(take, rung, 102.0, take.frame(take.at_s + later_s), rng)
    return Span((), take.at_s, take.at_s + 8.0)


@harmless(weight=3.0)
def boom_handling(take: Take, rng: Rng) -> Span:
    """Hands shift on the pole for 8 s: rumble of 20 to 150 Hz and knocks."""
    part = take.span(8.0)
    frames = part.stop - part.start
    grip = np.maximum(0.0, wander(frames, take.rate, 1.5, rng))
    rumble = shaped(frames, take.rate, band(20.0, 150.0, -3.0), rng, -24.0) * grip
    take.audio[part, BOOM] += rumble + thumps(take, frames, rng, 1.0, 0.15)
    return Span((), take.at_s, take.at_s + 8.0)


@harmless(weight=1.0)
def air_handling(take: Take, rng: Rng) -> Span:
    """Air handling runs up in 4 s, blows for 25 s at some 50 dB(A) and runs down."""
    frames = 33 * take.rate
    blow = shaped(frames, take.rate, band(50.0, 4000.0, -4.0), rng, 0.0)
    blow *= edges(frames, 4 * take.rate)
    start = take.frame(take.at_s)
    for mic in MICS:
        part = take.audio[start : start + frames, mic]
        field = np.roll(blow, int(rng.integers(take.rate)))[: len(part)]
        part += field * gain(float(rng.uniform(50.0, 54.0)) - 100.0) * take.sensitivity[mic]
    return Span((), take.at_s, take.at_s + 33.0)


@harmless(weight=1.5)
def aircraft(take: Take, rng: Rng) -> Span:
    """An aircraft passes in 35 s: a hump of 25 dB, dull noise and two tones that sink by a third
    as it goes away."""
    frames = 35 * take.rate
    t = np.linspace(-1.0, 1.0, frames)
    hump = 10.0 ** (-25.0 * t**2 / 20.0)
    roar = shaped(frames, take.rate, band(40.0, 1500.0, -4.0), rng, -3.0)
    hz = rng.uniform(90.0, 170.0) * (1.0 - 0.13 * np.tanh(3.0 * t))
    phase = 2.0 * np.pi * np.cumsum(hz) / take.rate
    tones = 0.15 * np.sin(phase) + 0.1 * np.sin(2.0 * phase)
    flyover = np.asarray((roar + tones) * hump * edges(frames, 2 * take.rate), dtype=np.float32)
    in_air(take, flyover, 82.0, take.frame(take.at_s), rng)
    return Span((), take.at_s, take.at_s + 35.0)


@harmless(weight=1.5)
def shout(take: Take, rng: Rng) -> Span:
    """The ropes lead shouts for 12 s, 10 dB up, and no peak comes near full scale."""
    part = take.span(12.0)
    lift = 1.0 + (gain(10.0) - 1.0) * edges(part.stop - part.start, take.rate // 10)
    for mic in LAVS[:2]:
        loud = take.speech[part, mic] * lift
        peak = float(np.abs(loud).max())
        take.audio[part, mic] = take.floor[part, mic] + loud * np.float32(min(1.0, 0.6 / peak))
    return Span((), take.at_s, take.at_s + 12.0)
