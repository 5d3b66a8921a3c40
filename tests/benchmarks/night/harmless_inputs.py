"""What sounds alarming on a night and is not: each changes a take and must leave the watch silent.

Levels, rates and times are common practice without a source, where none is named.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from tests.benchmarks.night.cases import Span, harmless
from tests.benchmarks.night.scenes import INPUTS, MICS, SOUND_M_S, Take
from tests.benchmarks.night.sounds import (
    Audio,
    at_level,
    band,
    delayed,
    edges,
    gain,
    shaped,
    tone,
    wander,
    white,
)
from tests.benchmarks.night.voices import recorded

Rng = np.random.Generator
BOOM = 7
LONELY = 6
AMBIENCES = (8, 9)


def in_air(take: Take, sound: Audio, spl: float, start: int, rng: Rng) -> None:
    """A sound of that level at 1 m from somewhere 4 to 12 m off: 1/r and its delay on each mic."""
    for mic in MICS:
        metres = float(rng.uniform(4.0, 12.0))
        at = start + round(metres / SOUND_M_S * take.rate)
        part = take.audio[at : at + len(sound), mic]
        loud = sound[: len(part)] * gain(spl - 100.0 - 20.0 * np.log10(metres))
        part += loud * take.sensitivity[mic]


def music(take: Take, frames: int, rng: Rng) -> Audio:
    """A fetched piece of music, else noise that pulses four times a second, at 0 dBFS."""
    real = recorded("music")
    if real:
        clip = real[0].clips[0]
        return at_level(np.resize(np.roll(clip, -int(rng.integers(len(clip)))), frames), 0.0)
    beat = 1.0 + 0.8 * np.sin(2.0 * np.pi * 4.0 * np.arange(frames) / take.rate)
    noise = shaped(frames, take.rate, band(60.0, 8000.0, -4.0), rng, 0.0)
    return at_level((noise * beat).astype(np.float32), 0.0)


@harmless(weight=0.5, at_s=50.0, seconds=95.0, from_start=True)
def loudspeakers_stop(take: Take, rng: Rng) -> Span:
    """Loudspeakers on all mics from the start, -30 to -44 dBFS by distance, then quiet."""
    end = take.frame(take.at_s)
    played = music(take, end, rng) * edges(end, take.rate // 50)
    played = np.pad(played, (0, take.rate // 20))  # its end takes as long to each mic
    for mic in MICS:
        late = rng.uniform(5.0, 15.0) / SOUND_M_S * take.rate
        at_mic = delayed(played, late) * gain(float(rng.uniform(-44.0, -30.0)))
        take.audio[: len(played), mic] += at_mic
    return Span((), 0.0, take.at_s)


@harmless(weight=0.5, at_s=50.0, seconds=95.0, from_start=True)
def generator_stops(take: Take, rng: Rng) -> Span:
    """An engine near two mics: firing at 26 to 28 Hz with a governor's wander, harmonics falling by
    6 dB an octave, exhaust noise; it runs down within a second."""
    end = take.frame(take.at_s)
    hz = rng.uniform(26.0, 28.0) * (1.0 + 0.01 * wander(end, take.rate, 0.5, rng))
    phase = 2.0 * np.pi * np.cumsum(hz) / take.rate
    firing = sum(np.sin(n * phase + n * n) / n for n in range(1, 30)) * (1.0 + 0.2 * np.sin(phase))
    exhaust = shaped(end, take.rate, band(80.0, 2500.0, -3.0), rng, -8.0)
    engine = at_level(np.asarray(firing, dtype=np.float32), -6.0) + exhaust
    engine[-take.rate :] *= np.linspace(1.0, 0.0, take.rate, dtype=np.float32)
    for mic, level in ((BOOM, rng.uniform(-40.0, -30.0)), (AMBIENCES[0], rng.uniform(-40, -30))):
        take.audio[:end, mic] += engine * gain(float(level))
    return Span((), 0.0, take.at_s)


@harmless(weight=0.3, at_s=0.0, seconds=95.0, beside="tone unexpected", from_start=True)
def line_up_tone(take: Take, rng: Rng) -> Span:
    """1 kHz at -18 dBFS (EBU R 68) for 50 s on all inputs, from the desk's line, then the mics."""
    end = take.frame(50.0)
    steady = tone(end, take.rate, 1000.0, -18.0)
    for track in range(len(INPUTS)):
        take.audio[:end, track] = steady * gain(rng.normal(0.0, 0.2)) + white(end, rng, -106.0)
    return Span((), 0.0, 50.0)


def _turn(take: Take, tracks: tuple[int, ...], db: float, seconds: float) -> Span:
    curve = np.interp(
        np.arange(take.frames), [take.frame(take.at_s), take.frame(take.at_s + seconds)], [0.0, db]
    )
    for track in tracks:
        take.audio[:, track] *= (10.0 ** (curve / 20.0)).astype(np.float32)
    return Span((), take.at_s, take.at_s + seconds)


@harmless(weight=1.0, seconds=95.0, family="gain")
def gain_down_boom(take: Take, rng: Rng) -> Span:
    """The boom's gain turned down by 10 dB within half a second."""
    return _turn(take, (BOOM,), -10.0, 0.5)


@harmless(weight=0.7, seconds=95.0, family="gain")
def gain_down_ambience(take: Take, rng: Rng) -> Span:
    """The ambience's gain, both sides, down by 10 dB."""
    return _turn(take, AMBIENCES, -10.0, float(rng.uniform(0.2, 1.5)))


@harmless(weight=1.0, seconds=95.0, family="gain")
def gain_down_lav(take: Take, rng: Rng) -> Span:
    """A single pack's gain down by 10 dB."""
    return _turn(take, (LONELY,), -10.0, 0.3)


@harmless(weight=1.0, seconds=95.0, family="gain")
def gain_up_lav(take: Take, rng: Rng) -> Span:
    """A single pack's gain up by 10 dB."""
    return _turn(take, (LONELY,), 10.0, 0.3)


@harmless(weight=3.0)
def nylon_on_lav(take: Take, rng: Rng) -> Span:
    """Nylon rubs on a lav's grille for 25 s: stick and slip, some thousand tiny shocks a second,
    white to 20 kHz, in strokes of 0.1 to 0.8 s."""
    part = take.span(25.0)
    frames = part.stop - part.start
    shocks = (rng.random(frames) < 3000.0 / take.rate) * rng.standard_normal(frames)
    rub = at_level(shocks.astype(np.float32), float(rng.uniform(-40.0, -28.0)))
    strokes = np.zeros(frames, dtype=np.float32)
    at = 0
    while at < frames:
        length = min(int(rng.uniform(0.1, 0.8) * take.rate), frames - at)
        strokes[at : at + length] = edges(length, length // 4) * rng.uniform(0.3, 1.0)
        at += length + int(rng.uniform(0.1, 1.5) * take.rate)
    take.audio[part, int(rng.choice([0, LONELY]))] += rub * strokes
    return Span((), take.at_s, take.at_s + 25.0)


@harmless(weight=0.7)
def rain(take: Take, rng: Rng) -> Span:
    """Rain sets in on everything: drops of 1 ms, bright to 20 kHz, another on each mic, over hiss
    (the spectrum of rain on surfaces is broad and flat to beyond 10 kHz); rises in 8 s."""
    part = take.span(40.0)
    frames = part.stop - part.start
    rise = np.minimum(1.0, np.arange(frames) / (8.0 * take.rate)).astype(np.float32)
    for mic in MICS:
        drops = (rng.random(frames) < 150.0 / take.rate) * rng.exponential(1.0, frames)
        patter = signal.lfilter([1.0, -0.7], [1.0, -0.6], drops * rng.standard_normal(frames))
        hiss = shaped(frames, take.rate, band(300.0, 20000.0), rng, -3.0)
        wet = at_level(patter.astype(np.float32), -4.0) + hiss
        level = float(rng.uniform(-48.0, -38.0)) + min(0.0, _dry(take, mic))
        take.audio[part, mic] += wet * rise * gain(level)
    return Span((), take.at_s, take.at_s + 40.0)


def _dry(take: Take, mic: int) -> float:
    """dB by which an input's gain stands under a main's."""
    return float(20.0 * np.log10(take.sensitivity[mic] / take.sensitivity[0]))


def thumps(take: Take, frames: int, rng: Rng, every_s: float, peak: float) -> Audio:
    """Blows on the chest: 40 to 90 Hz dying away in 60 ms behind a click of the cloth."""
    out = np.zeros(frames, dtype=np.float32)
    t = np.arange(int(0.4 * take.rate)) / take.rate
    at = 0
    while at < frames - len(t):
        body = np.sin(2.0 * np.pi * rng.uniform(40.0, 90.0) * t) * np.exp(-t / 0.06)
        click = rng.standard_normal(len(t)) * np.exp(-t / 0.004)
        blow = body + 0.25 * signal.lfilter([0.3], [1.0, -0.7], click)
        out[at : at + len(t)] += (blow / np.abs(blow).max() * peak).astype(np.float32)
        at += int(rng.exponential(every_s) * take.rate) + len(t)
    return out


def gusts(take: Take, frames: int, rng: Rng, peak: float) -> Audio:
    """Wind on a capsule: falls by 8 dB an octave above 50 Hz (turbulence; Strasberg, JASA 83,
    1988), in gusts of a second or two."""
    air = shaped(frames, take.rate, band(12.0, 3000.0, -8.0), rng, -12.0)
    force = np.maximum(0.05, 1.0 + wander(frames, take.rate, 0.6, rng)) ** 2
    blown = air * force * edges(frames, take.rate)
    return np.asarray(blown * (peak / float(np.abs(blown).max())), dtype=np.float32)


def _below_full_scale(audio: Audio) -> None:
    """Brought under 0 dBFS as a whole; nothing is cut."""
    peak = float(np.abs(audio).max())
    if peak > 0.98:
        audio *= np.float32(0.98 / peak)


@harmless(weight=2.0)
def body_hits(take: Take, rng: Rng) -> Span:
    """Blows on a main's chest for 20 s, peaks just under 0 dBFS; the safety feels them too."""
    part = take.span(20.0)
    blows = thumps(take, part.stop - part.start, rng, 1.5, 0.9)
    take.audio[part, 0] += blows
    take.audio[part, 1] += 0.4 * blows * np.float32(take.sensitivity[1] / take.sensitivity[0])
    _below_full_scale(take.audio[part, 0])
    return Span((), take.at_s, take.at_s + 20.0)


@harmless(weight=2.0)
def wind_on_main(take: Take, rng: Rng) -> Span:
    """Gusts on a main for 25 s, up to just under 0 dBFS; the safety lies in the lee."""
    part = take.span(25.0)
    blown = gusts(take, part.stop - part.start, rng, 0.85)
    take.audio[part, 0] += blown
    take.audio[part, 1] += 0.2 * blown * np.float32(take.sensitivity[1] / take.sensitivity[0])
    _below_full_scale(take.audio[part, 0])
    return Span((), take.at_s, take.at_s + 25.0)


@harmless(weight=1.5)
def hug(take: Take, rng: Rng) -> Span:
    """Two performers in each other's arms for 30 s: both voices on all four packs, almost as loud,
    2 to 10 samples apart."""
    part = take.span(30.0)
    fade = edges(part.stop - part.start, take.rate // 2)
    for guest, mics in ((0, (2, 3)), (1, (0, 1))):
        for mic in mics:
            lag = 35.0 + float(rng.uniform(2.0, 10.0)) * rng.choice([-1.0, 1.0])
            loss = float(rng.uniform(-4.0, 0.0))
            near = delayed(take.stems[part, guest], lag) * gain(9.0 + loss)
            take.audio[part, mic] += near * fade * take.sensitivity[mic]
    return Span((), take.at_s, take.at_s + 30.0)


@harmless(weight=4.0, from_start=True)
def heads_turn(take: Take, rng: Rng) -> Span:
    """Heads turn to one shoulder and the other for the whole take: one pack of a pair gains up to
    6 dB with its treble, the other loses as much with the treble gone."""
    for main, safety in ((0, 1), (2, 3), (4, 5)):
        turn = np.clip(wander(take.frames, take.rate, 0.15, rng), -1.5, 1.5) / 1.5
        for mic, side in ((main, 1.0), (safety, -1.0)):
            said = take.speech[:, mic]
            dull = signal.lfilter([0.25], [1.0, -0.75], said).astype(np.float32)
            away = np.maximum(0.0, -side * turn)
            turned = (said + away * (dull - said)) * 10.0 ** (side * turn * 6.0 / 20.0)
            take.audio[:, mic] = take.floor[:, mic] + turned
    return Span((), 0.0, take.frames / take.rate)
