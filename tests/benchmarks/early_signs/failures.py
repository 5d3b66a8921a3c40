"""Slow failures by physics: ten minutes in which one pack goes from healthy to dead.

- The margin of a radio link shrinks evenly from 32 to 2 dB: outages of a Rayleigh channel received
  by two antennas (`engine.inject.slow_failure`). A digital link mutes, an analogue one is full of
  noise.
- Floor and hum rise evenly in dB, the gain too until the converter clips, a mic slips evenly in dB.
- Cloth and sweat lower a mic's treble: a low-pass whose corner sinks by octaves in even time.
- Pops of a contact come ever more often: a Poisson process whose rate grows by even factors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy import signal

from engine.inject.slow_failure import outages
from engine.model.early_signs import SignKind
from tests.benchmarks.night.sounds import Audio, gain, white
from tests.benchmarks.night.voices import RATE

PIECE_S: Final = 20
Rng = np.random.Generator


@dataclass(slots=True, eq=False)
class Failing:
    """A main pack on its way down; `state` is what one piece leaves to the next."""

    kind: SignKind
    sense: float = 0.0
    state: dict[str, Audio] = field(default_factory=dict)


def _down(u: float, rng: Rng) -> list[slice]:
    """Outages in one piece, at that share of the way."""
    spans = outages(32.0 - 30.0 * u, float(PIECE_S), rng)
    return [slice(round(at * RATE), round((at + s) * RATE) + 1) for at, s in spans]


def gaps(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """A digital link mutes; its receiver's output stage still has its own noise."""
    for span in _down(u, rng):
        part = sound[span]
        part[:] = white(len(part), rng, -100.0)
    return sound


def bursts(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """An analogue link gives noise instead."""
    for span in _down(u, rng):
        part = sound[span]
        part[:] = white(len(part), rng, float(rng.uniform(-40.0, -20.0)))
    return sound


def floor(sound: Audio, one: Failing, u: float, rng: Rng) -> Audio:
    """Noise of the electronics, from far under what it was to 10 dB under the voice."""
    return sound + white(len(sound), rng, -95.0 + (55.0 + one.sense) * u)


def hum(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """50 Hz and its first harmonics."""
    t = np.arange(len(sound)) / RATE
    lines = sum(
        level * np.sin(2.0 * np.pi * 50.0 * n * t) for n, level in ((1, 1.0), (2, 0.4), (3, 0.6))
    )
    return sound + (gain(-90.0 + (50.0 + one.sense) * u) * lines).astype(np.float32)


def headroom(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """The gain creeps up until the converter clips."""
    return np.clip(sound * gain((26.0 + one.sense) * u), -1.0, 1.0)


def slipped(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """The mic slides away from the mouth; the noise of its electronics stays."""
    return sound * gain(-(20.0 + one.sense) * u)


def covered(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """Ever more cloth before the mic."""
    corner = 14_000.0 * 2.0 ** (-(4.5 + one.sense / 6.0) * u)
    sos = signal.butter(2, corner, fs=RATE, output="sos")
    start = one.state.get("low-pass", np.zeros((1, 2), dtype=np.float32))
    made, one.state["low-pass"] = signal.sosfilt(sos, sound, zi=start)
    return np.asarray(made, dtype=np.float32)


def pops_a_minute(u: float) -> float:
    """Expected at that share of the way."""
    return float(0.3 * 500.0**u)


def pops(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """A contact opens for a fraction of a millisecond to two."""
    for _ in range(rng.poisson(pops_a_minute(u) * PIECE_S / 60.0)):
        frames = int(rng.uniform(0.0003, 0.002) * RATE)
        at = int(rng.integers(len(sound) - frames))
        click = np.exp(-np.arange(frames) / (0.3 * frames)) * rng.choice((-1.0, 1.0))
        sound[at : at + frames] += (click * gain(float(rng.uniform(-26.0, -10.0)))).astype(
            np.float32
        )
    return sound


Way = Callable[[Audio, Failing, float, Rng], Audio]
"""What becomes of a piece at that share of the way."""

WAYS: Final[dict[SignKind, Way]] = {
    SignKind.GAPS: gaps,
    SignKind.BURSTS: bursts,
    SignKind.NOISE_FLOOR: floor,
    SignKind.HUM: hum,
    SignKind.HEADROOM: headroom,
    SignKind.PAIR_LEVEL: slipped,
    SignKind.PAIR_TREBLE: covered,
    SignKind.POPS: pops,
}


SHOWS: Final[dict[SignKind, frozenset[SignKind]]] = {
    SignKind.GAPS: frozenset(),
    SignKind.BURSTS: frozenset({SignKind.NOISE_FLOOR}),
    SignKind.NOISE_FLOOR: frozenset({SignKind.PAIR_LEVEL, SignKind.PAIR_TREBLE}),
    SignKind.HUM: frozenset({SignKind.NOISE_FLOOR, SignKind.PAIR_LEVEL}),
    SignKind.HEADROOM: frozenset({SignKind.PAIR_LEVEL, SignKind.NOISE_FLOOR}),
    SignKind.PAIR_LEVEL: frozenset({SignKind.NOISE_FLOOR, SignKind.PAIR_TREBLE}),
    SignKind.PAIR_TREBLE: frozenset({SignKind.PAIR_LEVEL}),
    SignKind.POPS: frozenset(),
}
"""Signs that a failure may show besides its own: a gain moves level and floor, noise adds to both,
cloth takes level with the treble."""
