"""Harmless things that people and weather do close to one mic, from the sounds of the tests.

`tests.support.harmless_work` makes them; here is how each reaches the mics. Written from physics
and publications as well, but by somebody who knew the detectors.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from tests.benchmarks.night.cases import Span, harmless
from tests.benchmarks.night.scenes import INPUTS, LAVS, MICS, SOUND_M_S, Take, reverberation
from tests.benchmarks.night.sounds import Audio, at_level, gain, wander
from tests.support import harmless_sound, harmless_work

Rng = np.random.Generator
LONELY = 6
PAIRS = ((0, 1), (2, 3), (4, 5))


def _below_full_scale(take: Take) -> None:
    """Inputs that would pass full scale are turned down as a whole; nothing is cut."""
    for mic in LAVS:
        peak = float(np.abs(take.audio[:, mic]).max())
        take.audio[:, mic] *= np.float32(min(1.0, 0.98 / peak))


def beside(take: Take, sound: Audio, spl: float, wearer: int, metres: float, rng: Rng) -> None:
    """A sound of that level at 1 m, so far from a wearer's packs and metres from everyone else's;
    the room gives it back to all."""
    start = take.frame(take.at_s)
    sound = np.concatenate([sound, np.zeros(2 * take.rate, dtype=np.float32)])  # it rings on
    rung = reverberation(sound, rng)
    for mic in MICS:
        if INPUTS[mic].performer == wearer:
            far = metres * float(rng.uniform(0.8, 1.25))
        else:
            far = metres + float(rng.uniform(2.5, 7.0))
        at = start + round(far / SOUND_M_S * take.rate)
        part = take.audio[at : at + len(sound), mic]
        heard = sound[: len(part)] / np.float32(far) + rung[: len(part)]
        part += heard * gain(spl - 100.0) * take.sensitivity[mic]


def _enter(
    name: str, spl: tuple[float, float], metres: tuple[float, float], wave: Callable[..., object]
) -> None:
    def model(take: Take, rng: Rng) -> Span:
        sound = at_level(np.asarray(wave(20.0, rng), dtype=np.float32), 0.0)
        wearer = int(rng.integers(4))
        near = float(rng.uniform(*metres))
        beside(take, sound, float(rng.uniform(*spl)), wearer, near, rng)
        return Span((), take.at_s, take.at_s + 20.0)

    model.__name__, model.__doc__ = name, wave.__doc__
    harmless(weight=0.5, at_s=22.0, seconds=52.0, family="work")(model)


_enter("umbrella", (52.0, 62.0), (0.3, 0.5), harmless_work.umbrella)
_enter("tape_off_roll", (68.0, 80.0), (0.4, 1.5), harmless_work.tape_off_roll)
_enter("velcro", (66.0, 78.0), (0.3, 1.0), harmless_work.velcro)
_enter("zipper", (58.0, 68.0), (0.15, 0.3), harmless_work.zipper)
_enter("air_jet", (66.0, 82.0), (0.5, 2.0), harmless_work.air_jet)
_enter("hairdryer", (70.0, 78.0), (0.4, 1.0), harmless_work.hairdryer)
_enter("chain_hoist", (75.0, 90.0), (1.0, 4.0), harmless_work.chain_hoist)
_enter("keys", (58.0, 70.0), (0.4, 0.8), harmless_work.keys)
_enter("gravel", (58.0, 68.0), (1.3, 1.7), harmless_work.gravel)
_enter("crowd_applause", (78.0, 92.0), (4.0, 9.0), harmless_work.crowd_applause)


@harmless(weight=0.5, at_s=22.0, seconds=52.0, family="work")
def radio_beside(take: Take, rng: Rng) -> Span:
    """A hand-held radio on a performer's shoulder speaks, each passage with its squelch tail."""
    speech = np.asarray(take.stems[: 15 * take.rate, int(rng.integers(4))], dtype=np.float64)
    sound = at_level(harmless_work.radio_beside(speech, rng).astype(np.float32), 0.0)
    beside(take, sound, float(rng.uniform(62.0, 74.0)), int(rng.integers(4)), 0.3, rng)
    return Span((), take.at_s, take.at_s + 15.0)


@harmless(weight=0.5, at_s=22.0, seconds=52.0, family="work")
def hail(take: Take, rng: Rng) -> Span:
    """Hail sets in on everything within 5 s, other stones at each mic."""
    part = take.span(25.0)
    rise = np.minimum(1.0, np.arange(part.stop - part.start) / (5.0 * take.rate))
    stones_s = float(rng.uniform(15.0, 120.0))
    for mic in MICS:
        falls = harmless_work.hail(25.0, rng, stones_s)[: len(rise)] * rise
        spl = float(rng.uniform(56.0, 68.0))
        stones = at_level(falls.astype(np.float32), 0.0) * gain(spl - 100.0) * take.sensitivity[mic]
        take.audio[part, mic] += stones * np.float32(min(1.0, 0.5 / float(np.abs(stones).max())))
    return Span((), take.at_s, take.at_s + 25.0)


@harmless(weight=0.5, at_s=22.0, seconds=52.0, family="work")
def rain_of_drops(take: Take, rng: Rng) -> Span:
    """Rain of whole drops on everything, from a drizzle to a downpour, each drop a knock of noise
    of 0.4 to 2 ms with its own loudness."""
    part = take.span(25.0)
    frames = part.stop - part.start
    rise = np.minimum(1.0, np.arange(frames) / (6.0 * take.rate))
    drops_s = float(np.exp(rng.uniform(np.log(10.0), np.log(1500.0))))
    for mic in MICS:
        falls = harmless_sound.impacts(25.0, drops_s, rng, float(rng.uniform(0.0002, 0.002)))
        level = float(rng.uniform(52.0, 64.0)) - 100.0
        wet = at_level((falls[:frames] * rise).astype(np.float32), 0.0)
        take.audio[part, mic] += wet * gain(level) * take.sensitivity[mic]
    return Span((), take.at_s, take.at_s + 25.0)


@harmless(weight=0.5, at_s=22.0, seconds=52.0, family="work")
def raincoat(take: Take, rng: Rng) -> Span:
    """A raincoat crackles over one lav for 20 s; what lies under it too hears a tenth of it."""
    part = take.span(20.0)
    frames = part.stop - part.start
    mic = int(rng.choice([0, LONELY]))
    clicks = harmless_work.crumpling(20.0, rng, float(rng.uniform(20.0, 200.0)))[:frames]
    rub = at_level(clicks.astype(np.float32), float(rng.uniform(-44.0, -30.0)))
    rub = rub * np.float32(min(1.0, 0.5 / float(np.abs(rub).max())))
    take.audio[part, mic] += rub
    if mic == 0:
        take.audio[part, 1] += 0.1 * rub * np.float32(take.sensitivity[1] / take.sensitivity[0])
    return Span((), take.at_s, take.at_s + 20.0)


@harmless(weight=0.5, at_s=10.0, seconds=72.0, from_start=True, family="work")
def windy_night(take: Take, rng: Rng) -> Span:
    """Gusts on every pack from the start, each pack in its own eddies, -40 to -24 dBFS on a
    main."""
    for mic in LAVS:
        blown = harmless_sound.wind(take.frames / take.rate, rng, 0.0)[: take.frames]
        loud = at_level(blown.astype(np.float32), float(rng.uniform(-40.0, -24.0)))
        take.audio[:, mic] += loud * np.float32(take.sensitivity[mic] / take.sensitivity[0])
    _below_full_scale(take)
    return Span((), 0.0, take.frames / take.rate)


@harmless(weight=0.5, at_s=10.0, seconds=95.0, from_start=True, family="work")
def heads_held(take: Take, rng: Rng) -> Span:
    """Everyone looks to one side for 4 to 15 s, ahead again, to the other: the pack on that side
    gains up to 5 dB, the other loses as much and most of its treble (a head's directivity: up to 6
    dB at 1 kHz and 15 dB at 8 kHz to the side and behind, from memory)."""
    for main, safety in PAIRS:
        turn = np.zeros(take.frames, dtype=np.float32)
        at = 0
        while at < take.frames:
            length = int(rng.uniform(4.0, 15.0) * take.rate)
            turn[at : at + length] = rng.choice([-1.0, 0.0, 0.0, 1.0]) * rng.uniform(0.5, 1.0)
            at += length
        slow = np.convolve(turn[::480], np.ones(40) / 40.0, "same")
        turn = slow.repeat(480)[: take.frames].astype(np.float32)
        for mic, side in ((main, 1.0), (safety, -1.0)):
            said = take.speech[:, mic]
            dull = signal.lfilter([0.25], [1.0, -0.75], said).astype(np.float32)
            away = np.maximum(0.0, -side * turn)
            lift = 10.0 ** (side * turn * 5.0 / 20.0)
            take.audio[:, mic] = take.floor[:, mic] + (said + away * (dull - said)) * lift
    return Span((), 0.0, take.frames / take.rate)


@harmless(weight=0.5, at_s=10.0, seconds=72.0, from_start=True, family="work")
def gusts_on_one_side(take: Take, rng: Rng) -> Span:
    """Wind from one side all evening: one pack of each pair in it, the other in the lee, speech
    never far over it."""
    for pair in PAIRS:
        mic = int(rng.choice(pair))
        force = np.maximum(0.05, 1.0 + wander(take.frames, take.rate, 0.4, rng)) ** 2
        blown = harmless_sound.wind(take.frames / take.rate, rng, 0.0)[: take.frames]
        loud = at_level((blown * force).astype(np.float32), float(rng.uniform(-36.0, -22.0)))
        take.audio[:, mic] += loud * np.float32(take.sensitivity[mic] / take.sensitivity[0])
    _below_full_scale(take)
    return Span((), 0.0, take.frames / take.rate)
