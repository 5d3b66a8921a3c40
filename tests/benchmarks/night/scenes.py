"""The healthy night before anything happens to it: a crew raises a bell into a church tower.

Twelve inputs: three performers with two packs each, one with a single pack, a boom, a pair for the
ambience, talkback and a spare input. Everything is reckoned in sound pressure and brought to the
recorder by one gain an input, so that floors and voices stand to each other as they do in air:

- speech by vocal effort at 1 m (normal 60, raised 66, loud 72 dB(A), as public tables of voice
  levels at 0.9 m have it; that ISO 9921 has the same is from memory), 1/r on the direct path, and
  the reverberation of exponentially decaying noise (Polack 1988) that
  equals the direct sound at the critical distance (Kuttruff, Room Acoustics);
- a place of so many dB(A) whose noise falls by 5 dB an octave (as the NC curves do), partly shared
  by all mics, and a recording of a place where one was fetched;
- each mic's own noise, the link's, breath and cloth on what is worn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.benchmarks.night.sounds import Audio, at_level, band, edges, gain, shaped, wander, white
from tests.benchmarks.night.voices import ACTIVE_DBFS, RATE, Voice, recorded, speakers

Floats = NDArray[np.float64]

SOUND_M_S: Final = 343.0
CRITICAL_M: Final = 2.6
"""0.057 sqrt(V / T) for a nave of 3000 m³ and T = 1.4 s."""
DECAY_S: Final = 1.4
FULL_SCALE_SPL: Final = {"main": 104.0, "boom": 97.0, "ambience": 98.0}
"""dB SPL of a sine that reads 0 dBFS; speech then lies at -20 to -30 dBFS."""
OWN_NOISE_SPL: Final = {"lav": 30.0, "boom": 15.0, "ambience": 17.0}
"""Equivalent noise in dB(A); common practice, no source."""
SHARES: Final = (0.42, 0.16, 0.16, 0.26)
"""How much of the talk is each performer's."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input of the plan; `performer` counts from 0."""

    name: str
    kind: str
    who: str = ""
    level: str = ""
    receiver: str = ""
    performer: int | None = None


INPUTS: Final = (
    Input("Ropes", "lav", "ropes lead", "main", "A", 0),
    Input("Ropes S", "lav", "ropes lead", "safety", "A", 0),
    Input("Winch", "lav", "winch hand", "main", "A", 1),
    Input("Winch S", "lav", "winch hand", "safety", "A", 1),
    Input("Tower", "lav", "tower hand", "main", "B", 2),
    Input("Tower S", "lav", "tower hand", "safety", "B", 2),
    Input("Ringer", "lav", "ringer", "main", "B", 3),
    Input("Boom", "boom", "nave"),
    Input("Nave L", "ambience", "nave left"),
    Input("Nave R", "ambience", "nave right"),
    Input("Talkback", "comms"),
    Input("Spare", "unused"),
)
TALKBACK: Final = 10
SPARE: Final = 11
MICS: Final = tuple(range(10))
LAVS: Final = tuple(n for n, one in enumerate(INPUTS) if one.kind == "lav")


@dataclass(slots=True, eq=False)
class Take:
    """A take in the making.

    Attributes
    ----------
    audio
        What reaches the recorder, float32 of shape (frames, tracks); the models change it.
    speech, floor
        The layers it was made of: what is said, as each input hears it, and all the rest.
    stems
        Each performer's voice at 1 m, shape (frames, performers); 0 dBFS is 100 dB SPL.
    sensitivity
        Each input's factor from that scale of sound in air to its own, shape (tracks,).
    at_s
        When something shall happen.
    """

    rate: int
    audio: Audio
    speech: Audio
    floor: Audio
    stems: Audio
    sensitivity: Audio
    at_s: float = 32.0

    @property
    def frames(self) -> int:
        """Length in frames."""
        return len(self.audio)

    def frame(self, seconds: float) -> int:
        """The frame at a time in seconds, within the take."""
        return min(self.frames, max(0, round(seconds * self.rate)))

    def span(self, seconds: float) -> slice:
        """So many seconds from `at_s` on."""
        return slice(self.frame(self.at_s), self.frame(self.at_s + seconds))


def build(seed: int, seconds: float, place_spl: float | None = None) -> Take:
    """The healthy take of a seed; `place_spl` in dB(A), drawn from 36 to 46 where left out."""
    rng = np.random.default_rng([seed, 4711])
    frames = int(seconds * RATE)
    spl = float(rng.uniform(36.0, 46.0)) if place_spl is None else place_spl
    stagger = rng.uniform(10.0, 20.0, 3)
    stems = conversation(frames, speakers(len(SHARES), rng), rng)
    speech = at_the_mics(stems, stagger, rng)
    floor = place(frames, spl, stagger, rng)
    speech[:, TALKBACK] = talkback(frames, rng)
    for mic in LAVS:
        floor[:, mic] += worn(frames, rng) * gain(-to_safety(mic, stagger))
    floor[:, TALKBACK] += white(frames, rng, -76.0)
    air = [
        100.0 - full_scale(mic, stagger) if mic in MICS else -200.0 for mic in range(len(INPUTS))
    ]
    sensitivity = (10.0 ** (np.array(air) / 20.0)).astype(np.float32)
    return Take(RATE, speech + floor, speech, floor, stems, sensitivity)


def to_safety(mic: int, stagger: Floats) -> float:
    """How many dB lower the gain of a safety stands than its main's."""
    one = INPUTS[mic]
    return float(stagger[one.performer or 0]) if one.level == "safety" else 0.0


def full_scale(mic: int, stagger: Floats) -> float:
    """dB SPL of 0 dBFS on an input with a mic."""
    return FULL_SCALE_SPL.get(INPUTS[mic].kind, FULL_SCALE_SPL["main"]) + to_safety(mic, stagger)


def conversation(frames: int, voices: list[Voice], rng: np.random.Generator) -> Audio:
    """Turns of 1.5 to 6 s, pauses of 0.2 to 2 s; at 1 m, 0 dBFS standing for 100 dB SPL."""
    stems = np.zeros((frames, len(voices)), dtype=np.float32, order="F")
    effort = rng.uniform(64.0, 72.0, len(voices))
    at, who = int(0.5 * RATE), 0
    while at < frames - RATE:
        length = min(int(rng.uniform(1.5, 6.0) * RATE), frames - at)
        spl = effort[who] + rng.normal(0.0, 2.0)
        turn = voices[who].turn(length, rng) * gain(spl - 100.0 - ACTIVE_DBFS)
        stems[at : at + length, who] += turn * edges(length, RATE // 50)
        at += length + int(rng.uniform(0.2, 2.0) * RATE)
        who = int(rng.choice(len(voices), p=SHARES))
    return stems


def at_the_mics(stems: Audio, stagger: Floats, rng: np.random.Generator) -> Audio:
    """Direct sound with its delay and 1/r, and each mic's own reverberation of all voices."""
    frames = len(stems)
    performers = rng.uniform(1.5, 3.5, (stems.shape[1], 1)) * np.array(
        [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]]
    )
    stands = {7: np.array([0.8, 0.5]), 8: np.array([-4.0, 4.0]), 9: np.array([4.2, 4.0])}
    out = np.zeros((frames, len(INPUTS)), dtype=np.float32, order="F")
    for mic in MICS:
        owner = INPUTS[mic].performer
        stand = performers[owner] if owner is not None else stands[mic]
        wet = np.zeros(frames, dtype=np.float32)
        for who in range(stems.shape[1]):
            worn_here = who == owner
            metres = float(np.hypot(*(performers[who] - stand)))
            metres = rng.uniform(0.2, 0.3) if worn_here else max(metres, 0.8)
            direct = np.roll(stems[:, who], round(metres / SOUND_M_S * RATE)) / metres
            if worn_here:  # small turns of the head
                turns = 10.0 ** (0.05 * wander(frames, RATE, 0.3, rng)) * gain(-3.0)
                direct = (direct * turns).astype(np.float32)
            out[:, mic] += direct
            wet += stems[:, who]
        out[:, mic] += reverberation(wet, rng)
        out[:, mic] *= gain(100.0 - full_scale(mic, stagger))
    return out


def reverberation(dry: Audio, rng: np.random.Generator) -> Audio:
    """What the room gives back of sources at 1 m: 1 / CRITICAL_M of their amplitude in all."""
    length = int(DECAY_S * RATE)
    t = np.arange(length) / RATE
    tail = rng.standard_normal(length) * 10.0 ** (-3.0 * t / DECAY_S)
    tail = signal.lfilter([0.4], [1.0, -0.6], tail)  # air and walls take the treble
    tail *= 1.0 / CRITICAL_M / np.sqrt(np.sum(np.square(tail)))
    wet = signal.oaconvolve(dry, np.concatenate([np.zeros(RATE // 100), tail]))
    return np.asarray(wet[: len(dry)], dtype=np.float32)


def place(frames: int, spl: float, stagger: Floats, rng: np.random.Generator) -> Audio:
    """The place's noise and each input's own, shape (frames, tracks)."""
    out = np.zeros((frames, len(INPUTS)), dtype=np.float32, order="F")
    nc = band(40.0, 9000.0, -5.0)
    shared = shaped(frames, RATE, nc, rng, spl - 100.0)
    real = recorded("place")
    if real:
        clip = real[int(rng.integers(len(real)))].clips[0]
        recording = np.resize(np.roll(clip, -int(rng.integers(len(clip)))), frames)
        shared = at_level(recording, spl - 102.0) + shared * gain(-3.0)
    for mic in MICS:
        kind = INPUTS[mic].kind
        own = shaped(frames, RATE, nc, rng, spl - 103.0)
        own += shaped(frames, RATE, band(60.0, 18000.0, 1.0), rng, OWN_NOISE_SPL[kind] - 100.0)
        lag = int(rng.integers(RATE // 100))
        out[:, mic] = (np.roll(shared, lag) + own) * gain(100.0 - full_scale(mic, stagger))
    for track in range(out.shape[1]):
        out[:, track] += white(frames, rng, float(rng.uniform(-112.0, -104.0)))
    return out


def talkback(frames: int, rng: np.random.Generator) -> Audio:
    """Now and then a short order through a telephone's band."""
    sos = signal.butter(2, (300.0, 3400.0), "bandpass", fs=RATE, output="sos")
    said = np.zeros(frames, dtype=np.float32)
    voice = speakers(1, rng)[0]
    at = int(rng.uniform(3.0, 12.0) * RATE)
    while at < frames - 2 * RATE:
        length = int(rng.uniform(0.8, 2.0) * RATE)
        said[at : at + length] = voice.turn(length, rng)
        at += length + int(rng.uniform(8.0, 25.0) * RATE)
    return np.asarray(signal.sosfilt(sos, said), dtype=np.float32)


def worn(frames: int, rng: np.random.Generator) -> Audio:
    """Breath (15 a minute, 100 Hz to 4 kHz) and a rub of cloth now and then, at a main's gain."""
    t = np.arange(frames) / RATE
    rise = np.maximum(0.0, np.sin(2.0 * np.pi * (0.25 * t + rng.random()))) ** 2
    breath = shaped(frames, RATE, band(100.0, 4000.0, -3.0), rng, -60.0 + rng.normal(0.0, 2.0))
    rub = shaped(frames, RATE, band(200.0, 5000.0, -3.0), rng, float(rng.uniform(-52.0, -44.0)))
    moves = np.zeros(frames, dtype=np.float32)
    for _ in range(max(1, frames // (12 * RATE))):
        length = int(rng.uniform(0.15, 0.9) * RATE)
        start = int(rng.integers(max(1, frames - length)))
        moves[start : start + length] = edges(length, length // 3)
    return np.asarray(breath * rise + rub * moves, dtype=np.float32)


def plan_text() -> str:
    """The plan of the take, as the program reads it."""
    lines = ["[take]", 'title = "Raising the bell"', ""]
    for number, one in enumerate(INPUTS, 1):
        lines += ["[[track]]", f"input = {number}", f'name = "{one.name}"', f'kind = "{one.kind}"']
        for key in ("who", "level", "receiver"):
            value = getattr(one, key)
            lines += [f'{key} = "{value}"'] if value else []
        lines.append("")
    return "\n".join(lines)
