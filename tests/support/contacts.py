"""Contacts that open on tracks of a place, for the checks of crackle.

A pop is what a step leaves behind a high-pass: exponential (circuit theory).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.signal import butter, sosfilt

from engine.model.messages import PackLevel, Samples
from engine.model.tracks import Scene, Track
from tests.support import harmless_work as work
from tests.support.harmless_sound import Wave, impacts
from tests.support.signals import noise

RATE = 48_000
SCENE = Scene(
    (
        Track(1, who="rigger", level=PackLevel.MAIN),
        Track(2, who="rigger", level=PackLevel.SAFETY),
        Track(3, who="carpenter"),
        Track(4, who="boatswain"),
    ),
    RATE,
)
POPS_S = np.arange(5.3, 17.0, 1.1)


def place() -> Samples:
    """Four tracks of a place that falls with frequency, words on the first two."""
    x = noise(-50.0, 20.0, RATE, seed=2, tracks=4)
    for column in x.T:
        column[:] = np.convolve(column, np.exp(-np.arange(200) / 40.0) / 40.0, "same")
    words = np.clip(np.sin(2 * np.pi * 2.3 * np.arange(len(x)) / RATE), 0.0, None)
    x[:, :2] *= (1.0 + 3.0 * words)[:, None]
    return x


def opened(x: Samples, track: int, at_s: float, open_s: float, height: float) -> None:
    """The contact of one track opens for a time: a jump, nothing, a jump."""
    first, last = round(at_s * RATE), round((at_s + open_s) * RATE)
    pop = np.exp(-np.arange(900) / (0.003 * RATE))
    x[first:last, track] = 0.0
    x[first : first + 900, track] += height * pop
    x[last : last + 900, track] -= height * pop


def eight_performers() -> tuple[Scene, Samples]:
    """One pack each, in such places."""
    where = Scene(tuple(Track(n + 1, who=f"hand {n + 1}") for n in range(8)), RATE)
    return where, np.concatenate([place()[: 12 * RATE], place()[8 * RATE :]], axis=1)


STRIKES: dict[str, Callable[[float, np.random.Generator], Wave]] = {
    "rain": lambda seconds, rng: impacts(seconds, 150.0, rng, 0.0002),
    "hail": work.hail,
    "umbrella": work.umbrella,
    "raincoat": work.crumpling,
    "gravel": work.gravel,
    "keys": work.keys,
    "hoist": work.chain_hoist,
    "zip": work.zipper,
}


def openings(
    x: Samples, track: int, rng: np.random.Generator, first_s: float, last_s: float
) -> float:
    """A contact that opens for 0.5 to 20 ms about twice a second, its bias behind a low-pass of 18
    kHz; when it did for the fourth time, s."""
    bias, open_ = np.zeros(len(x)), np.ones(len(x))
    times_s = [first_s]
    while times_s[-1] < last_s:
        first = round(times_s[-1] * RATE)
        last = first + round(10.0 ** rng.uniform(-3.3, -1.7) * RATE)
        open_[first:last] = 0.01
        pop = 10.0 ** (rng.uniform(-24.0, -8.0) / 20.0) * np.exp(
            -np.arange(RATE // 10) / (rng.uniform(0.003, 0.015) * RATE)
        )
        bias[first:][: len(pop)] += pop
        bias[last:][: len(pop)] -= pop
        times_s.append(times_s[-1] + 0.2 + rng.exponential(0.4))
    sos = butter(2, 18_000.0, fs=RATE, output="sos")
    x[:, track] = (x[:, track] * open_ + sosfilt(sos, bias)).astype(np.float32)
    return times_s[3]
