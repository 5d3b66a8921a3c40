"""Two radio links that go slowly, from their channel.

Somebody walks: each of two antennas gets a direct wave and waves from all sides, whose sum fades
(S. O. Rice, Bell Syst. Tech. J. 24, 1945; R. H. Clarke, 1968; W. C. Jakes, 1974), 2 to 4 Hz of
Doppler at UHF. The receiver takes the better antenna. Over ten minutes its mean lies 32 dB over
the threshold, then 2, evenly in dB. What a fade does depends on how deep it is:

- analogue (FM): above the threshold noise goes as the inverse of the envelope, in triangular
  density with 50 us of de-emphasis; under it, it grows 4 dB a dB, with clicks (Rice, 1963), up to
  full hash, until the squelch closes 8 dB down.
- digital: blocks of 1 to 4 ms are lost the likelier the nearer to the threshold (a waterfall of
  some 3 dB). The first lost block of a run is filled with the one before; the next are silent.

Written from the physics before its sound was ever held against a sign. Numbers without a source:
common practice.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from engine.inject.noise import link_hash
from engine.model.early_signs import SignKind
from tests.benchmarks.early_signs.failures import Failing, Rng, Way
from tests.benchmarks.night.sounds import Audio, gain, white
from tests.benchmarks.night.voices import RATE

MARGIN_DB: Final = (32.0, 2.0)
DIRECT: Final = 2.0
"""Power of the direct wave over that of all others: a performer in a room, half in sight."""
STEPS_HZ: Final = 2000
AT_THRESHOLD_DBFS: Final = -45.0
"""Noise of an analogue link at its threshold, some 30 dB under words."""
FULL_HASH_DBFS: Final = -18.0
SQUELCH_DB: Final = -8.0
WATERFALL_DB: Final = 0.7
"""Scale of the logistic curve: a tenth to nine tenths of all blocks within 3 dB."""
SILENCE_DBFS: Final = -100.0

Levels = NDArray[np.float64]


def over_threshold_db(frames: int, u: float, length_u: float, rng: Rng) -> Levels:
    """Carrier over its threshold by steps of half a millisecond, from that share of the way on."""
    steps = frames * STEPS_HZ // RATE + 1
    t = np.arange(steps) / STEPS_HZ
    doppler_hz = float(rng.uniform(2.0, 4.0))
    margin_db = np.interp(u + length_u * np.linspace(0.0, 1.0, steps), [0.0, 1.0], MARGIN_DB)
    power = np.maximum(*(np.square(np.abs(_path(t, doppler_hz, rng))) for _ in range(2)))
    return np.asarray(margin_db + 10.0 * np.log10(power + 1e-12))


def _path(t: Levels, doppler_hz: float, rng: Rng) -> NDArray[np.complex128]:
    """A direct wave and sixteen from all sides, mean power 1."""
    sides, phases = rng.uniform(0.0, 2.0 * np.pi, (2, 17))
    weights = np.where(np.arange(17) == 0, np.sqrt(DIRECT), 0.25) / np.sqrt(DIRECT + 1.0)
    turning = 2.0 * np.pi * doppler_hz * np.cos(sides)
    # Even steps: a turn by many is one by some, then by the rest, and all waves a matrix product.
    rows = int(np.ceil(np.sqrt(len(t))))
    coarse = np.exp(1j * np.outer(t[::rows], turning)) * (weights * np.exp(1j * phases))
    fine = np.exp(1j * np.outer(turning, t[:rows] - t[0]))
    return np.asarray((coarse @ fine).ravel()[: len(t)])


def analogue(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """Hiss that flutters, then bursts of hash, then a squelch that closes for moments."""
    over_db = over_threshold_db(len(sound), u, 20.0 / 600.0, rng)
    level_db = np.where(over_db > 0.0, -over_db, -4.0 * over_db) + AT_THRESHOLD_DBFS
    level_db = np.minimum(level_db, FULL_HASH_DBFS)
    at = np.arange(len(sound)) * (STEPS_HZ / RATE)
    amplitude = 10.0 ** (0.05 * np.interp(at, np.arange(len(level_db)), level_db))
    decay = float(np.exp(-1.0 / (50e-6 * RATE)))
    noise = signal.lfilter([1.0 - decay], [1.0, -decay], _hash(over_db, len(sound), rng))
    noise /= float(np.sqrt(2.0 * np.mean(np.square(noise))))
    is_open = np.interp(at, np.arange(len(over_db)), (over_db > SQUELCH_DB).astype(np.float64))
    heard = (sound + (amplitude * noise).astype(np.float32)) * is_open.astype(np.float32)
    return np.asarray(heard + white(len(sound), rng, SILENCE_DBFS), dtype=np.float32)


def _hash(over_db: Levels, frames: int, rng: Rng) -> Levels:
    """Triangular noise; the clicks only under the threshold."""
    triangular = np.diff(rng.standard_normal(frames + 1))
    if np.all(over_db > 0.0):
        return np.asarray(triangular)
    clicking = np.asarray(link_hash(frames, 1, RATE, rng)[:, 0], dtype=np.float64)
    under = np.interp(
        np.arange(frames) * (STEPS_HZ / RATE), np.arange(len(over_db)), over_db <= 0.0
    )
    return np.asarray(np.where(under > 0.5, clicking, triangular))


def lost_blocks(frames: int, size: int, u: float, rng: Rng) -> NDArray[np.bool_]:
    """Which blocks of so many frames a piece loses, from its second on to its last but one."""
    over_db = over_threshold_db(frames, u, 20.0 / 600.0, rng)
    begins = np.arange(size, frames - size, size)
    middle = np.interp((begins + size / 2) * (STEPS_HZ / RATE), np.arange(len(over_db)), over_db)
    chance = 1.0 / (1.0 + np.exp(np.minimum(middle / WATERFALL_DB, 50.0)))
    return np.asarray(rng.random(len(begins)) < chance)


def digital(sound: Audio, one: Failing, u: float, rng: Rng) -> Audio:
    """Blocks filled with the one before, then gaps of a few, then of many."""
    if "block" not in one.state:
        one.state["block"] = np.array([rng.uniform(0.001, 0.004)], dtype=np.float32)
    size = round(float(one.state["block"][0]) * RATE)
    lost = lost_blocks(len(sound), size, u, rng)
    begins = size * np.arange(1, len(lost) + 1)
    out = sound.copy()
    before = False
    for begin, is_lost in zip(begins.tolist(), lost.tolist(), strict=True):
        if is_lost:
            silence = white(size, rng, SILENCE_DBFS)
            filled = out[begin - size : begin] * gain(-3.0)
            out[begin : begin + size] = silence if before else filled
        before = is_lost
    return out


LINKS: Final[dict[SignKind, Way]] = {SignKind.GAPS: digital, SignKind.BURSTS: analogue}
