"""Slow failures by physics: ten minutes in which one pack goes from healthy to dead.

- The margin of a radio link shrinks evenly from 32 to 2 dB: outages of a Rayleigh channel received
  by two antennas. Crossings a second and the mean time below, with r the ratio of bound to RMS:
  sqrt(2 pi) f r exp(-r^2) and (exp(r^2) - 1) / (r f sqrt(2 pi)) (W. C. Jakes, "Microwave Mobile
  Communications", 1974, ch. 1; from memory); both antennas must be down at once. A digital link
  mutes, an analogue one is full of noise.
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

from engine.model.early_signs import SignKind
from tests.benchmarks.night.sounds import Audio, gain, white
from tests.benchmarks.night.voices import RATE

PIECE_S: Final = 20
DOPPLER_HZ: Final = 2.6
"""Somebody who walks at 1.3 m/s on 600 MHz."""

Rng = np.random.Generator


@dataclass(slots=True, eq=False)
class Failing:
    """A main pack on its way down; `state` is what one piece leaves to the next."""

    kind: SignKind
    sense: float
    state: dict[str, Audio] = field(default_factory=dict)


def outages(u: float, rng: Rng) -> list[tuple[int, int]]:
    """Begin and length of outages in one piece, frames, at that share of the way."""
    ratio = 10.0 ** ((-32.0 + 30.0 * u) / 20.0)
    crossings = np.sqrt(2.0 * np.pi) * DOPPLER_HZ * ratio * np.exp(-(ratio**2))
    share = 1.0 - np.exp(-(ratio**2))
    many = rng.poisson(2.0 * crossings * share * PIECE_S)
    mean_s = share / crossings / 2.0
    return [
        (int(rng.integers(PIECE_S * RATE)), int(rng.exponential(mean_s) * RATE) + 1)
        for _ in range(many)
    ]


def gaps(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """A digital link mutes; its receiver's output stage still has its own noise."""
    for begin, frames in outages(u, rng):
        part = sound[begin : begin + frames]
        part[:] = white(len(part), rng, -100.0)
    return sound


def bursts(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """An analogue link gives noise instead."""
    for begin, frames in outages(u, rng):
        part = sound[begin : begin + frames]
        part[:] = white(len(part), rng, float(rng.uniform(-40.0, -20.0)))
    return sound


def floor(sound: Audio, one: Failing, u: float, rng: Rng) -> Audio:
    """Noise of the link, up to 30 dB under the voice."""
    return sound + white(len(sound), rng, -85.0 + (55.0 + one.sense) * u)


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


def slipped(sound: Audio, one: Failing, u: float, rng: Rng) -> Audio:
    """The mic slides away from the mouth; its own noise stays."""
    return sound * gain(-(20.0 + one.sense) * u) + white(len(sound), rng, -78.0)


def covered(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """Ever more cloth before the mic."""
    corner = 14_000.0 * 2.0 ** (-(4.5 + one.sense / 6.0) * u)
    sos = signal.butter(2, corner, fs=RATE, output="sos")
    start = one.state.get("low-pass", np.zeros((1, 2), dtype=np.float32))
    made, one.state["low-pass"] = signal.sosfilt(sos, sound, zi=start)
    return np.asarray(made, dtype=np.float32)


def pops(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """A contact opens for a fraction of a millisecond to two."""
    rate_a_minute = 0.3 * 500.0**u
    for _ in range(rng.poisson(rate_a_minute * PIECE_S / 60.0)):
        frames = int(rng.uniform(0.0003, 0.002) * RATE)
        at = int(rng.integers(len(sound) - frames))
        click = np.exp(-np.arange(frames) / (0.3 * frames)) * rng.choice((-1.0, 1.0))
        sound[at : at + frames] += (click * gain(float(rng.uniform(-26.0, -10.0)))).astype(
            np.float32
        )
    return sound


WAYS: Final[dict[SignKind, Callable[[Audio, Failing, float, Rng], Audio]]] = {
    SignKind.GAPS: gaps,
    SignKind.BURSTS: bursts,
    SignKind.NOISE_FLOOR: floor,
    SignKind.HUM: hum,
    SignKind.HEADROOM: headroom,
    SignKind.PAIR_LEVEL: slipped,
    SignKind.PAIR_TREBLE: covered,
    SignKind.POPS: pops,
}
