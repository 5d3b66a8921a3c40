"""Two packs on each of sixteen performers and four booms, in four rooms, made from physics.

After ten minutes of health the main packs fail, each kind on two of them, while their safeties and
the booms stay well. Voices are the held-out recordings and made ones, four to a room.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.model.early_signs import SignKind
from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Track
from tests.benchmarks.early_signs.failures import PIECE_S, WAYS, Failing, Rng, Way
from tests.benchmarks.night.scenes import worn
from tests.benchmarks.night.sounds import Audio, band, gain, shaped, wander
from tests.benchmarks.night.voices import ACTIVE_DBFS, RATE, Voice, speakers

HEALTHY_S: Final = 600
"""A track's normal is its first ten minutes (CONTRACT.md)."""
FAILING_S: Final = 600
VOICE_DBFS: Final = -30.0
ROOMS: Final = 4
PERFORMERS: Final = 16
PACKS: Final = 2 * PERFORMERS
LATEST: Final = 1000
"""Frames by which a voice comes later at the furthest mic, at most."""


def tracks() -> tuple[Track, ...]:
    """Main and safety of each performer, then the booms."""
    made = []
    for n in range(PERFORMERS):
        for level in (PackLevel.MAIN, PackLevel.SAFETY):
            name = f"performer {n + 1} {level}"
            made.append(Track(len(made) + 1, name, Kind.LAV, f"performer {n + 1}", level))
    booms = [Track(len(made) + n + 1, f"boom {n + 1}", Kind.BOOM) for n in range(ROOMS)]
    return (*made, *booms)


def talk(voices: list[Voice], rng: Rng) -> Audio:
    """A piece of one conversation, shape (frames, voices)."""
    frames = PIECE_S * RATE
    stems = np.zeros((frames, len(voices)), dtype=np.float32, order="F")
    at = int(rng.uniform(0.0, 1.0) * RATE)
    while at < frames - RATE:
        who = int(rng.integers(len(voices)))
        length = min(int(rng.uniform(1.5, 6.0) * RATE), frames - at - LATEST)
        turn = voices[who].turn(length, rng) * gain(VOICE_DBFS - ACTIVE_DBFS + rng.normal(0, 2))
        stems[at : at + length, who] += turn
        at += length + int(rng.uniform(0.2, 2.0) * RATE)
    return stems


def pieces(seed: int, ways: Mapping[SignKind, Way] = WAYS) -> Iterator[tuple[Audio, list[Failing]]]:
    """Sound of all tracks, piece by piece, and what fails on the mains, as many in each way."""
    rng = np.random.default_rng([seed, 17])
    kinds = [(list(ways) * (PERFORMERS // len(ways)))[n] for n in rng.permutation(PERFORMERS)]
    failing = [Failing(kind, float(rng.uniform(-3.0, 3.0))) for kind in kinds]
    voices = speakers(PERFORMERS, rng)  # the recorded ones first: some in each room
    rooms = [voices[n::ROOMS] for n in range(ROOMS)]
    mics = [_mic(n, rng) for n in range(PACKS + ROOMS)]
    for number in range((HEALTHY_S + FAILING_S) // PIECE_S):
        stems = [talk(here, rng) for here in rooms]
        out = np.zeros((PIECE_S * RATE, len(mics)), dtype=np.float32, order="F")
        u = (number * PIECE_S + 0.5 * PIECE_S - HEALTHY_S) / FAILING_S
        for n, mic in enumerate(mics):
            out[:, n] = mic.sound(stems[mic.room], number, rng)
            if n % 2 and n < PACKS:
                out[:, n] *= gain(-12.0)
            elif n < PACKS and (u > 0.0 or ways is not WAYS):  # a link fades in health as well
                one = failing[n // 2]
                out[:, n] = ways[one.kind](out[:, n].copy(), one, max(u, 0.0), rng)
        yield np.clip(out, -1.0, 1.0), failing


@dataclass(frozen=True, slots=True, eq=False)
class _Mic:
    """What one mic hears of four voices: gain of each, dB, delay of each, frames; its own noises.

    noises : go round; their lengths are products of 2, 3 and 5, so that their ends meet (`shaped`)

    tilt : of its place on the body, as the share of the last sample that is taken off
    """

    room: int
    gains_db: list[float]
    delays: list[int]
    noises: tuple[Audio, ...]
    tilt: float

    def sound(self, stems: Audio, number: int, rng: Rng) -> Audio:
        """Piece `number`; its noises go round and round without a seam."""
        out = np.zeros(len(stems), np.float32)
        for who, (level_db, delay) in enumerate(zip(self.gains_db, self.delays, strict=True)):
            out[delay:] += stems[: len(stems) - delay, who] * gain(level_db)
        out[1:] -= np.float32(self.tilt) * out[:-1]
        turns = 10.0 ** (0.05 * wander(len(out), RATE, 0.3, rng))  # of the head: 1 dB
        out = (out * turns).astype(np.float32)
        for noise in self.noises:
            begin = number * len(out) % len(noise)
            first = noise[begin : begin + len(out)]
            out[: len(first)] += first
            out[len(first) :] += noise[: len(out) - len(first)]
        return out


def _mic(n: int, rng: Rng) -> _Mic:
    """Two packs a performer, then a boom in each room."""
    is_pack = n < PACKS
    gains_db = rng.uniform(-32.0, -22.0, 4) if is_pack else rng.uniform(-8.0, -4.0, 4)
    delays = rng.integers(200, LATEST, 4)
    if is_pack:  # 1 dB and 0.2 ms between the two packs on one body
        own = (n // 2) % 4
        gains_db[own], delays[own] = rng.uniform(-1.0, 0.0), rng.integers(20, 25) + 6 * (n % 2)
    tilt = float(rng.uniform(-0.2, 0.4))
    own_dbfs = float(rng.uniform(-78, -66))
    noises = [shaped(50 * RATE, RATE, band(40.0, 9000.0, -5.0), rng, own_dbfs)]
    if is_pack:
        noises.append(worn(48 * RATE, rng))
    room = n // (PACKS // ROOMS) if is_pack else n - PACKS
    return _Mic(room, gains_db.tolist(), delays.tolist(), tuple(noises), tilt)
