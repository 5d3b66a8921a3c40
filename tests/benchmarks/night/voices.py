"""Who speaks: recorded voices where they were fetched, else voices made from glottal pulses.

Recordings come from `python tests/benchmarks/detection/fetch.py` (packages with free licences); of
them only the set "heldout" is taken, which nobody may tune by.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.benchmarks.night.sounds import Audio, at_level, edges
from tests.support.checkout import ROOT

RATE: Final = 48000
ACTIVE_DBFS: Final = -26.0
"""AES17 level of every clip (the customary level of ITU-T P.56 speech material)."""

FORMANTS_HZ: Final = (
    (730, 1090, 2440),
    (270, 2290, 3010),
    (300, 870, 2240),
    (530, 1840, 2480),
    (570, 840, 2410),
    (660, 1720, 2410),
)
"""Men's vowels of Peterson and Barney, JASA 24 (1952), Table II."""


@dataclass(frozen=True, slots=True, eq=False)
class Voice:
    """One speaker's clips, each float32 mono at 48 kHz and ACTIVE_DBFS."""

    name: str
    clips: tuple[Audio, ...]

    def turn(self, frames: int, rng: np.random.Generator) -> Audio:
        """Clips with short pauses until `frames` are full."""
        said = np.zeros(frames, dtype=np.float32)
        at = 0
        while at < frames:
            clip = self.clips[int(rng.integers(len(self.clips)))]
            length = min(len(clip), frames - at)
            said[at : at + length] = clip[:length] * edges(length, RATE // 100)
            at += length + int(rng.uniform(0.05, 0.4) * RATE)
        return said


def recordings() -> Path:
    """Where the fetched recordings lie; a second work tree uses those of the first."""
    own = ROOT / ".artefacts" / "recordings"
    pointer = ROOT / ".git"
    if own.exists() or not pointer.is_file():
        return own
    linked = Path(pointer.read_text(encoding="utf-8").removeprefix("gitdir:").strip())
    return linked.parents[2] / ".artefacts" / "recordings"


def recorded(role: str) -> list[Voice]:
    """The held-out recordings that play a role; empty where nothing was fetched."""
    index = recordings() / "index.json"
    if not index.exists():
        return []
    rows = json.loads(index.read_text(encoding="utf-8"))
    return [
        Voice(row["name"], _clips(np.load(recordings() / row["file"]), row["ends"]))
        for row in rows
        if row["set"] == "heldout" and row["role"] == role
    ]


def _clips(samples: Audio, ends: list[int]) -> tuple[Audio, ...]:
    starts = [0, *ends[:-1]]
    return tuple(
        at_level(samples[a:b], ACTIVE_DBFS) for a, b in zip(starts, ends, strict=True) if b > a
    )


def speakers(count: int, rng: np.random.Generator) -> list[Voice]:
    """So many voices: the recorded ones first, made ones where they run out."""
    real = recorded("voice")
    order = rng.permutation(len(real))
    chosen = [real[n] for n in order[:count]]
    made = [synthetic(rng, f"made {n + 1}") for n in range(count - len(chosen))]
    return chosen + made


def synthetic(rng: np.random.Generator, name: str = "made", clips: int = 12) -> Voice:
    """A voice of its own pitch: Rosenberg's glottal pulse (JASA 49, 1971) through three resonances
    a vowel, hiss for the consonants, three to five syllables a second."""
    pitch_hz = float(rng.uniform(95.0, 210.0))
    spoken = []
    for _ in range(clips):
        syllables = [_syllable(pitch_hz, rng) for _ in range(int(rng.integers(3, 9)))]
        spoken.append(at_level(np.concatenate(syllables), ACTIVE_DBFS))
    return Voice(name, tuple(spoken))


def _syllable(pitch_hz: float, rng: np.random.Generator) -> Audio:
    frames = int(rng.uniform(0.2, 0.33) * RATE)
    contour = pitch_hz * np.linspace(rng.uniform(1.0, 1.2), rng.uniform(0.8, 1.0), frames)
    phase = np.cumsum(contour * (1.0 + 0.01 * rng.standard_normal(frames))) / RATE % 1.0
    vowel = np.diff(_pulse(phase), prepend=0.0)
    for formant, width in zip(FORMANTS_HZ[int(rng.integers(6))], (60.0, 90.0, 150.0), strict=True):
        radius = np.exp(-np.pi * width / RATE)
        angle = 2.0 * np.pi * formant * rng.uniform(0.95, 1.05) / RATE
        vowel = signal.lfilter(
            [1.0 - radius], [1.0, -2.0 * radius * np.cos(angle), radius**2], vowel
        )
    hiss = signal.lfilter([1.0, -0.9], [1.0], rng.standard_normal(frames))
    consonant = int(rng.uniform(0.2, 0.35) * frames)
    hiss[consonant:] *= 0.01
    hiss[:consonant] *= edges(consonant, consonant // 3)
    vowel[: consonant // 2] *= 0.1
    vowel = vowel / (np.abs(vowel).max() + 1e-9) * edges(frames, frames // 6)
    return np.asarray(vowel + 0.08 * hiss, dtype=np.float32)


def _pulse(phase: NDArray[np.float64]) -> NDArray[np.float64]:
    opening = 0.5 * (1.0 - np.cos(np.pi * phase / 0.4))
    closing = np.cos(0.5 * np.pi * (phase - 0.4) / 0.16)
    return np.where(phase < 0.4, opening, np.where(phase < 0.56, closing, 0.0))
