"""The fetched recordings as arrays, and long beds and phrases made from them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tests.support.checkout import ROOT

CACHE: Final = ROOT / ".artefacts" / "recordings"
RATE: Final = 48000
CROSSFADE_S: Final = 1.0

Audio = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """One fetched recording: its clips one after the other, float32 at 48 kHz."""

    name: str
    role: str
    samples: Audio
    ends: tuple[int, ...]

    def clip(self, number: int) -> Audio:
        """Clip `number`, counted round."""
        place = number % len(self.ends)
        return self.samples[self.ends[place - 1] if place else 0 : self.ends[place]]


@dataclass(frozen=True, slots=True, eq=False)
class Library:
    """All recordings of one set; and two minutes of electronics noise, drawn once."""

    recordings: tuple[Recording, ...]
    electronics: Audio

    def of(self, role: str) -> list[Recording]:
        """The recordings that play that role."""
        return [r for r in self.recordings if r.role == role]


def load(which: str) -> Library:
    """The recordings of "tuning" or "heldout"; FileNotFoundError says to fetch them first."""
    index = CACHE / "index.json"
    if not index.exists():
        raise FileNotFoundError("no recordings yet: run python -m tests.benchmarks.detection fetch")
    rows: list[dict[str, Any]] = json.loads(index.read_text(encoding="utf-8"))
    recordings = tuple(
        Recording(row["name"], row["role"], np.load(CACHE / row["file"]), tuple(row["ends"]))
        for row in rows
        if row["set"] == which
    )
    noise = np.random.default_rng(len(which)).standard_normal(120 * RATE, dtype=np.float32)
    return Library(recordings, noise)


def cut(samples: Audio, frames: int, rng: np.random.Generator) -> Audio:
    """`frames` of a recording from a random place, repeated with crossfades where too short."""
    fade = min(int(CROSSFADE_S * RATE), len(samples) // 4)
    step = len(samples) - fade
    looped = samples[:step].copy()
    slope = np.sqrt(np.linspace(0.0, 1.0, fade, dtype=np.float32))
    looped[:fade] = samples[:fade] * slope + samples[step:] * slope[::-1]
    start = int(rng.integers(step))
    return np.resize(np.roll(looped, -start), frames)


def babble(voices: list[Recording], frames: int, rng: np.random.Generator, talkers: int) -> Audio:
    """A crowd: that many voices at once, each near or far."""
    crowd = np.zeros(frames, dtype=np.float32)
    for n in range(talkers):
        voice = voices[n % len(voices)]
        crowd += cut(voice.samples, frames, rng) * np.float32(10 ** (rng.uniform(-12, 0) / 20))
    return crowd


def floor_rms(samples: Audio) -> float:
    """RMS that a tenth of the 10 ms hops stay under."""
    hop = RATE // 100
    hops = samples[: len(samples) // hop * hop].reshape(-1, hop)
    return float(np.sqrt(np.percentile(np.einsum("ij,ij->i", hops, hops) / hop, 10)))


def gain(level_db: float) -> np.float32:
    """An amplitude from decibels."""
    return np.float32(10.0 ** (level_db / 20.0))


def rms_of(level_dbfs: float) -> float:
    """The root mean square of an AES17 level."""
    return float(10.0 ** (level_dbfs / 20.0) / np.sqrt(2.0))
