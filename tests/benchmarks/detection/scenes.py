"""Twelve-track scenes from real recordings, like the demo's: healthy sound before any fault.

Four performers with a main and a safety pack each (one acoustic source, two placements), two
booms, a crowd microphone, and talkback or an unused input. Live floors as in CONTRACT.md; gains,
bleed and pauses: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import signal

from engine.model.messages import Kind, PackLevel, Samples
from engine.model.tracks import Plan, Track
from tests.benchmarks.detection.acting import Part, act
from tests.benchmarks.detection.library import (
    RATE,
    Audio,
    Library,
    babble,
    cut,
    floor_rms,
    gain,
    rms_of,
)

ROLES: Final = ("foreman", "rigger", "ringer", "crane driver")
BOOMS: Final = (9, 10)
CROWD: Final = 11
LAST: Final = 12
BODY: Final = 48
"""Frames between the packs of one body for any sound but its own voice: 1 ms is 0.34 m in air."""
APART: Final = 1400
"""Frames within which the place reaches the microphones of a scene: 29 ms are 10 m in air."""
SHOUT_TOP: Final = 10.0 ** (-0.3 / 20.0)


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """A scene without faults.

    samples : (frames, 12), contiguous by track; parts : one for each `who`, in track order
    """

    plan: Plan
    samples: Samples
    parts: tuple[Part, ...]
    seconds: float


def build(library: Library, seed: int, seconds: float, unused: bool) -> Stage:
    """The healthy scene of that seed; track 12 is talkback, or unused if asked so."""
    rng = np.random.default_rng(seed)
    lates = _lates(np.random.default_rng((seed, 2)))
    frames = int(seconds * RATE)
    voices = library.of("voice")
    order = rng.permutation(len(voices))
    calm = int(rng.integers(4))
    parts = tuple(
        act(voices[order[n % len(order)]], seconds, rng, calm=n == calm) for n in range(4)
    )
    place = _place(library, frames, rng)
    everyone = parts[0].voice + parts[1].voice + parts[2].voice + parts[3].voice
    tracks = np.empty((LAST, frames), dtype=np.float32)
    for n, part in enumerate(parts):
        near = [np.roll(place, late) for late in lates[2 * n : 2 * n + 2]]
        tracks[2 * n : 2 * n + 2] = _pair(library, part, everyone, near, rng)
    for boom in BOOMS:
        near_boom = np.roll(place, lates[boom - 1])
        tracks[boom - 1] = _boom(library, everyone, near_boom, rng)
    tracks[CROWD - 1] = _bed(place, rng, rng.uniform(-48.0, -38.0)) + _delayed(
        everyone, 900
    ) * gain(-24)
    tracks[LAST - 1] = _unused(library, frames, rng) if unused else _talkback(library, frames, rng)
    for track in tracks:  # healthy sound never touches full scale
        top = max(float(track.max()), -float(track.min()))
        if top > SHOUT_TOP:
            track *= np.float32(SHOUT_TOP / top)
    return Stage(_plan(unused), tracks.T, parts, seconds)


def _plan(unused: bool) -> Plan:
    packs = [
        Track(2 * n + k + 1, f"{who} {level}", Kind.LAV, who, level, str(2 * n + k + 1),
              receiver="A" if n < 2 else "B")
        for n, who in enumerate(ROLES)
        for k, level in enumerate((PackLevel.MAIN, PackLevel.SAFETY))
    ]  # fmt: skip
    booms = [
        Track(BOOMS[0], "boom scaffold", Kind.BOOM, "boom scaffold", receiver="C"),
        Track(BOOMS[1], "boom square", Kind.BOOM, "boom square", receiver="C"),
    ]
    last = Track(LAST, "spare", Kind.UNUSED) if unused else Track(LAST, "talkback", Kind.COMMS)
    return Plan((*packs, *booms, Track(CROWD, "crowd", Kind.AMBIENCE), last))


def _lates(rng: np.random.Generator) -> list[int]:
    """Frames by which the sound of the place comes late to packs and booms: no two of them stand
    at one spot, so an axe is never heard by all at the same moment."""
    bodies = [int(late) for late in rng.integers(BODY, APART, len(ROLES))]
    packs = [late + int(rng.integers(-BODY, BODY)) * k for late in bodies for k in (0, 1)]
    return packs + [int(late) for late in rng.integers(BODY, APART, len(BOOMS))]


def _place(library: Library, frames: int, rng: np.random.Generator) -> Audio:
    """The sound of the place, its floor at an RMS of 1: a recording, a crowd, wind, blows, music.

    The crowd arrives and leaves, the wind changes, and the night goes quiet for a while.
    """
    beds = library.of("place")
    bed = cut(beds[rng.integers(len(beds))].samples, frames, rng)
    bed = bed / max(floor_rms(bed), 1e-9)
    crowd = babble(library.of("voice"), frames, rng, talkers=14)
    bed += crowd * (_slow(frames, rng, -20.0, 2.0, 30.0) / max(floor_rms(crowd), 1e-9))
    bed += _wind(frames, rng) * _slow(frames, rng, -20.0, 4.0, 20.0)
    for role, share, level_db in (("impact", 0.5, 14.0), ("music", 0.4, 8.0)):
        heard = library.of(role)
        if rng.random() < share:
            sound = cut(heard[rng.integers(len(heard))].samples, frames, rng)
            bed += sound * np.float32(gain(level_db) / max(float(sound.std()), 1e-9))
    bed *= _slow(frames, rng, -3.0, 3.0, 40.0)
    if rng.random() < 0.5:
        bed *= _night(frames, rng)
    return bed / np.float32(max(floor_rms(bed), 1e-9))


def _slow(
    frames: int, rng: np.random.Generator, low_db: float, high_db: float, step_s: float
) -> Audio:
    """A gain that moves between random levels, each reached within `step_s`."""
    knots = rng.uniform(low_db, high_db, int(frames / RATE / step_s) + 3)
    coarse = np.interp(np.arange(frames // 480 + 1) * 0.01, np.arange(len(knots)) * step_s, knots)
    return np.repeat((10.0 ** (coarse / 20.0)).astype(np.float32), 480)[:frames]


def _night(frames: int, rng: np.random.Generator) -> Audio:
    """A quiet stretch of 10 to 25 s, 5 to 8 dB down, come and gone within 3 s."""
    seconds = frames / RATE
    begin, lasts = rng.uniform(15.0, max(16.0, seconds - 30.0)), rng.uniform(10.0, 25.0)
    at = np.arange(frames // 480 + 1) * 0.01
    points = (begin, begin + 3.0, begin + lasts, begin + lasts + 3.0)
    drop = np.interp(at, points, (0.0, *([-rng.uniform(5.0, 8.0)] * 2), 0.0))
    return np.repeat((10.0 ** (drop / 20.0)).astype(np.float32), 480)[:frames]


def _wind(frames: int, rng: np.random.Generator) -> Audio:
    """Wind at a microphone: noise falling above 80 Hz in gusts of seconds; synthesised."""
    noise = rng.standard_normal(RATE * 30, dtype=np.float32)
    sos = signal.butter(1, 80.0, fs=RATE, output="sos")
    rumble = signal.sosfilt(sos, noise).astype(np.float32)
    rumble /= rumble.std()
    return cut(rumble, frames, rng) * _slow(frames, rng, -15.0, 6.0, 2.0)


def _bed(place: Audio, rng: np.random.Generator, floor_dbfs: float) -> Audio:
    """The place as one microphone hears it: half in common with the others, half its own."""
    own = np.roll(place, int(rng.integers(RATE, len(place) - RATE)) % (2 * RATE))
    mixed = place * np.float32(0.75) + own * np.float32(0.66)
    return mixed * np.float32(rms_of(floor_dbfs) / max(floor_rms(mixed), 1e-12))


def _electronics(library: Library, frames: int, rng: np.random.Generator, dbfs: float) -> Audio:
    start = int(rng.integers(len(library.electronics)))
    noise = np.resize(np.roll(library.electronics, -start), frames)
    return noise * np.float32(rms_of(dbfs))


def _delayed(samples: Audio, frames: int) -> Audio:
    late = np.zeros_like(samples)
    late[frames:] = samples[: len(samples) - frames]
    return late


def _coloured(samples: Audio, rng: np.random.Generator) -> Audio:
    """Another placement's tone: a peak or dip of up to 4 dB, and some of the treble lost."""
    b, a = signal.iirpeak(rng.uniform(300.0, 3000.0), 1.0, fs=RATE)
    c, d = signal.butter(1, rng.uniform(7000.0, 16000.0), fs=RATE)
    b, a = np.convolve(a + rng.uniform(-0.35, 0.55) * b, c), np.convolve(a, d)
    return np.asarray(signal.lfilter(b.astype(np.float32), a.astype(np.float32), samples))


def _pair(
    library: Library, part: Part, everyone: Audio, places: Sequence[Audio], rng: np.random.Generator
) -> Audio:
    """Main and safety of one performer, shape (2, frames): one source, two placements."""
    frames = len(places[0])
    floor = rng.uniform(-62.0, -54.0)
    bleed = (everyone - part.voice) * gain(rng.uniform(-30.0, -20.0))
    late = int(rng.integers(100, 600))
    main = _coloured(part.voice, rng) + _delayed(bleed, late)
    main += _bed(places[0], rng, floor) + part.body * np.float32(0.8 * rms_of(floor))
    other = _coloured(_delayed(part.voice, int(rng.integers(2, 60))), rng)
    other += _delayed(bleed, late + int(rng.integers(-BODY, BODY)))
    other += _bed(places[1], rng, floor) + part.body * np.float32(rms_of(floor))
    top = max(float(np.abs(main).max()), 1e-6)
    if part.shouts or top > SHOUT_TOP:  # the gain was set for the loudest shout
        main *= np.float32(min(SHOUT_TOP / top, gain(3.0)))
    safety = other * gain(-rng.uniform(10.0, 17.0))
    return np.stack(
        (
            main + _electronics(library, frames, rng, rng.uniform(-84.0, -76.0)),
            safety + _electronics(library, frames, rng, rng.uniform(-92.0, -85.0)),
        )
    )


def _boom(library: Library, everyone: Audio, place: Audio, rng: np.random.Generator) -> Audio:
    voices = _coloured(_delayed(everyone, int(rng.integers(200, 900))), rng) * gain(-9.0)
    boom = voices + _bed(place, rng, rng.uniform(-62.0, -54.0))
    top = float(np.abs(boom).max())
    boom *= np.float32(min(1.0, SHOUT_TOP / max(top, 1e-6)))
    return boom + _electronics(library, len(place), rng, rng.uniform(-84.0, -76.0))


def _talkback(library: Library, frames: int, rng: np.random.Generator) -> Audio:
    """Mostly quiet; now and then a word through a telephone-wide channel."""
    voices = library.of("voice")
    voice = voices[rng.integers(len(voices))]
    line = np.zeros(frames, dtype=np.float32)
    for _ in range(1 + rng.poisson(frames / RATE / 40.0)):
        phrase = voice.clip(int(rng.integers(1 << 16)))
        first = int(rng.integers(0, max(1, frames - len(phrase))))
        line[first : first + len(phrase)] += phrase[: frames - first]
    sos = signal.butter(2, (300.0, 3400.0), "bandpass", fs=RATE, output="sos")
    narrow = signal.sosfilt(sos, line).astype(np.float32)
    return narrow + _electronics(library, frames, rng, rng.uniform(-84.0, -72.0))


def _unused(library: Library, frames: int, rng: np.random.Generator) -> Audio:
    return _electronics(library, frames, rng, rng.uniform(-104.0, -90.0))
