"""Two packs on each of sixteen performers and four booms, in four rooms, made from physics.

After ten minutes of health the main packs fail, each kind on two of them, while their safeties and
the booms stay well. Voices are the held-out recordings and made ones, four to a room. The ten
minutes have several ends, in each of which other packs fail in other ways.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.model.early_signs import SignKind
from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Track
from tests.benchmarks.early_signs.fading_links import LINKS
from tests.benchmarks.early_signs.failures import PIECE_S, WAYS, Failing, Rng
from tests.benchmarks.night.scenes import worn
from tests.benchmarks.night.sounds import Audio, band, gain, shaped, wander, white
from tests.benchmarks.night.voices import ACTIVE_DBFS, RATE, Voice, speakers

HEALTHY_S: Final = 600
"""A track's normal is its first ten minutes (CONTRACT.md)."""
FAILING_S: Final = 600
VOICE_DBFS: Final = -30.0
ROOMS: Final = 4
PERFORMERS: Final = 16
PACKS: Final = 2 * PERFORMERS
OUTAGES: Final = "outages"
"""The model in which links have outages and nothing else: gaps and bursts on eight packs each."""
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


class Stage:
    """One night up to the moment in which things begin to fail, and any end of it from there.

    Every second performer's packs have analogue radio links, the others digital ones.
    """

    def __init__(self, seed: int) -> None:
        self._seed, self._rng = seed, np.random.default_rng([seed, 17])
        voices = speakers(PERFORMERS, self._rng)  # the recorded ones first: some in each room
        self._rooms = [voices[n::ROOMS] for n in range(ROOMS)]
        self._mics = [_mic(n, self._rng) for n in range(PACKS + ROOMS)]
        self._links = [Failing((SignKind.GAPS, SignKind.BURSTS)[n % 2]) for n in range(PERFORMERS)]
        self._white = white(45 * RATE, self._rng, 0.0)

    def healthy(self) -> Iterator[Audio]:
        """Sound of all tracks, piece by piece."""
        for number in range(HEALTHY_S // PIECE_S):
            yield self._piece(number, self._links, 0.0, self._rng)

    def failing(self, end: int, model: str) -> tuple[list[SignKind], Iterator[Audio]]:
        """What fails on each main pack in that end of the night, and the sound of all tracks."""
        rng = np.random.default_rng([self._seed, 17, end])
        failing = self._cast(model, rng)
        first, pieces = HEALTHY_S // PIECE_S, FAILING_S // PIECE_S
        sound = (
            self._piece(first + n, failing, (n + 0.5) / pieces, rng, outages=model == OUTAGES)
            for n in range(pieces)
        )
        return [one.kind for one in failing], sound

    def _cast(self, model: str, rng: Rng) -> list[Failing]:
        """Each kind as often; digital links have gaps, analogue ones bursts."""
        share = PERFORMERS // (2 if model == OUTAGES else len(WAYS))
        kinds: list[SignKind | None] = [None] * PERFORMERS
        for first, kind in enumerate((SignKind.GAPS, SignKind.BURSTS)):
            for n in rng.permutation(np.arange(first, PERFORMERS, 2))[:share].tolist():
                kinds[n] = kind
        rest = [kind for kind in WAYS if kind not in LINKS] * share
        order = iter(rng.permutation(len(rest)).tolist())
        return [Failing(kind or rest[next(order)], float(rng.uniform(-3.0, 3.0))) for kind in kinds]

    def _piece(
        self, number: int, failing: list[Failing], u: float, rng: Rng, *, outages: bool = False
    ) -> Audio:
        stems = [talk(here, rng) for here in self._rooms]
        out = np.zeros((PIECE_S * RATE, len(self._mics)), dtype=np.float32, order="F")
        for n, mic in enumerate(self._mics):
            sound = mic.sound(stems[mic.room], number, rng)
            who = n // 2
            if n % 2 and n < PACKS:
                sound *= gain(-12.0)
            elif n < PACKS and u > 0.0 and (outages or failing[who].kind not in LINKS):
                sound = WAYS[failing[who].kind](sound, failing[who], u, rng)
            begin = int(rng.integers(len(self._white) - len(sound)))
            sound += self._white[begin : begin + len(sound)] * gain(mic.electronics_dbfs)
            if n < PACKS and n % 2 == 0:
                link = self._links[who]
                margin = u if failing[who].kind is link.kind and not outages else 0.0
                sound = LINKS[link.kind](sound, link, margin, rng)
            out[:, n] = np.clip(sound, -1.0, 1.0)
        return out


@dataclass(frozen=True, slots=True, eq=False)
class _Mic:
    """What one mic hears of four voices: gain of each, dB, delay of each, frames; its own noises.

    noises : go round; their lengths are products of 2, 3 and 5, so that their ends meet (`shaped`)

    tilt : of its place on the body, as the share of the last sample that is taken off
    electronics_dbfs : white noise of what follows the capsule
    """

    room: int
    gains_db: list[float]
    delays: list[int]
    noises: tuple[Audio, ...]
    tilt: float
    electronics_dbfs: float

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
    electronics_dbfs = float(rng.uniform(-88.0, -80.0))
    return _Mic(room, gains_db.tolist(), delays.tolist(), tuple(noises), tilt, electronics_dbfs)
