"""Makes the sound of a story: tracks of room, voice and crowd, with faults planted on a timeline.

Levels are of the healthy range that CONTRACT.md names: live floors of mains about
-55 dBFS, of safeties 12 dB lower. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from engine.model.messages import Kind, PackLevel, Samples
from engine.model.tracks import Track

RATE_HZ = 16_000
SAFETY_DB = -12.0
FLOOR_DBFS = {Kind.AMBIENCE: -40.0, Kind.COMMS: -400.0}
VOICE_DBFS = -22.0

Column = np.ndarray
Fault = Callable[[Column, int, int, np.random.Generator], None]


def amplitude(level_dbfs: float) -> float:
    """Peak amplitude of a sine at that level."""
    return float(10.0 ** (level_dbfs / 20.0))


def make(tracks: tuple[Track, ...], story: Mapping[str, Any]) -> Samples:
    """The samples of a story, shape (frames, tracks), tracks in plan order."""
    frames = round(story["seconds"] * RATE_HZ)
    rng = np.random.default_rng(1)
    columns = [_healthy(track, frames, rng, story) for track in tracks]
    place = {track.input: n for n, track in enumerate(tracks)}
    for fault in story.get("fault", []):
        first, last = (round(fault[key] * RATE_HZ) for key in ("from_s", "to_s"))
        if fault["what"] == "other input":
            one, other = (columns[place[number]][first:last] for number in fault["tracks"])
            one[:], other[:] = other.copy(), one.copy()
            continue
        for number in fault["tracks"]:
            FAULTS[fault["what"]](columns[place[number]], first, last, rng)
    return np.array(columns, dtype=np.float32).T


def _healthy(
    track: Track, frames: int, rng: np.random.Generator, story: Mapping[str, Any]
) -> Column:
    """Room noise, and a voice where the story has that performer speak."""
    down_db = SAFETY_DB if track.level is PackLevel.SAFETY else 0.0
    floor = amplitude(FLOOR_DBFS.get(track.kind, -55.0) + down_db) / np.sqrt(2.0)
    sound: Column = floor * rng.standard_normal(frames)
    if story.get("room") == "falls":  # with frequency, by 6 dB an octave from 100 Hz on
        spectrum = np.fft.rfft(sound) / np.maximum(np.fft.rfftfreq(frames, 1.0 / RATE_HZ), 100.0)
        sound = np.fft.irfft(spectrum, n=frames)
        sound *= floor / sound.std()
    for speech in story.get("speech", []):
        if speech["who"] == track.who:
            first, last = (round(speech[key] * RATE_HZ) for key in ("from_s", "to_s"))
            # One voice for both packs, where the story says so; else each has its own.
            same = story.get("voices") == "one a performer"
            of_who = np.random.default_rng([first, *track.who.encode()]) if same else rng
            sound[first:last] += amplitude(VOICE_DBFS + down_db) * _voice(last - first, of_who)
    return sound


def _voice(frames: int, rng: np.random.Generator) -> Column:
    """Syllables: a gliding comb of harmonics that swells four times a second."""
    time_s = np.arange(frames) / RATE_HZ
    pitch_hz = 130.0 + 25.0 * np.sin(2.0 * np.pi * 0.4 * time_s + rng.uniform(0.0, 6.0))
    phase = 2.0 * np.pi * np.cumsum(pitch_hz) / RATE_HZ
    comb = sum(np.sin(k * phase + k * k) / k for k in range(1, 12))
    return np.asarray(comb * np.clip(np.sin(2.0 * np.pi * 2.0 * time_s), 0.05, None) ** 0.5)


def _zero(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    x[first:last] = 0.0


def _hiss(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    x[first:last] = amplitude(-95.0) / np.sqrt(2.0) * rng.standard_normal(last - first)


def _hush(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    steps = np.arange(0, last - first + RATE_HZ, RATE_HZ // 4)
    moves = np.interp(np.arange(last - first), steps, rng.uniform(0.1, 1.0, len(steps)))
    x[first:last] *= amplitude(-48.0) * moves


def _shout(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    voice = 4.0 * _voice(last - first, rng)
    x[first:last] = np.clip(x[first:last] + voice, -0.9, 0.9)


def _stuck(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    del rng
    x[first:last] = np.resize(x[first - 1024 // 3 : first], last - first)


def _link_noise(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    noise = rng.standard_normal(last - first)
    x[first:last] = 0.1 * x[first:last] + amplitude(-14.0) / np.sqrt(2.0) * noise


def _offset(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    del rng
    x[first:last] += 0.08


def _howl(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    del rng
    x[first:last] += amplitude(-18.0) * np.sin(np.arange(last - first) * 0.7)


def _converter(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    x[first:last] = amplitude(-98.0) / np.sqrt(2.0) * rng.standard_normal(last - first)


def _contact(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    pop = np.exp(-np.arange(RATE_HZ // 50) / (0.003 * RATE_HZ))
    for at in range(first, last, RATE_HZ):
        end = at + int(rng.uniform(0.001, 0.015) * RATE_HZ)
        x[at:end] = 0.0
        x[at : at + len(pop)] += 0.3 * pop
        x[end : end + len(pop)] -= 0.3 * pop


def _slips(x: Column, first: int, last: int, rng: np.random.Generator) -> None:
    del rng
    rows = np.arange(len(x))
    for at in range(first, last, RATE_HZ):
        rows[at:] += 64
    x[:] = x[np.minimum(rows, len(x) - 1)]


FAULTS: Mapping[str, Fault] = {
    "digital zero": _zero,
    "steady hiss": _hiss,
    "stuck buffer": _stuck,
    "clock slips": _slips,
    "contact opens": _contact,
    "offset": _offset,
    "howl": _howl,
    "converter noise": _converter,
    "link noise": _link_noise,
    "crowd gone": _hush,
    "shout into the ceiling": _shout,
}
