"""Parts of a pair's speech: how loud its wearer's voice is on one pack against the other.

Model: both packs hear one voice, each with something of its own besides, so their energies are
a²V + N and b²V + M and their cross-correlation is abV. The ratio a/b is bracketed by what the
cross-correlation is to the energy of either (the two estimators of a frequency response, of which
noise biases one up and the other down: J. S. Bendat and A. G. Piersol, "Random Data"); so a part
doubts its offset by -20 log10 r. What is steady (hum, the pack's own noise) is no voice
and is taken off by its minimum (after R. Martin, as in `measure.floor`).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.pack_matches import voice_correlation
from engine.detectors.pairs import Pairs, PartClock
from engine.measure.pair_comparison import gain_offset_db
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By, TrackRemap

BANDS: Final = 3
"""The voice below 1 kHz, the treble (energy of the step from sample to sample), and the sibilants
(about 2 to 8 kHz)."""

_STEADY_TICKS: Final = 30
_AFTER_TICKS: Final = 15
"""What is steady is the least tick of the 3 s before, or of those up to 1.5 s after: pauses between
words fall into them."""
_LEAST_SHARE: Final = 0.05
"""No part is left with less than this of its energy when what is steady is taken off."""
_LEAST_R: Final = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A quarter of a second of speech of one pair.

    offset_db : main less safety, dB, shape (bands,); NaN of treble or sibilants that one of them
        cannot hear
    doubt_db : so much of the voice's offset may be what only one of the two hears
    level_db : of the voice on main and safety, dB, to any one reference
    dull_db : voice less treble, and less sibilants, dB, shape (2, main and safety)
    steady_db : what is steady beside the voice, dB as `level_db`, shape (bands, main and safety)
    begin_s : when it began
    """

    offset_db: Levels
    doubt_db: float
    level_db: Levels
    dull_db: Levels
    steady_db: Levels
    begin_s: float


@dataclass(frozen=True, slots=True, eq=False)
class _Raw:
    """A part before what is steady is known from both sides of it.

    energy, steady : sum over its hops, and what was steady in each before; (bands, main and safety)
    """

    energy: Levels
    steady: Levels
    hops: int
    doubt_db: float
    begin_s: float
    tick: int


_per_pair = partial(per_track, count="_pair_count", of="pairs")


class _TickBands(NamedTuple):
    """What was made of one tick before it is asked of.

    speech : (hops, pairs), of one voice on both packs; alike : (pairs,) how alike they hear it
    bands : energy of each band, (hops, packs); sums : their means, (bands, main and safety, pairs)
    """

    speech: Flags
    alike: Levels
    bands: tuple[Samples, ...]
    sums: Levels


class PairParts(TrackMemory):
    """Adds up speech that both packs of a pair hear, tick by tick, until a part of it is full."""

    _energy: Levels = _per_pair(0.0, rows=(BANDS, 2))
    _hops: NDArray[np.int64] = _per_pair(0)
    _weight: Levels = _per_pair(0.0, rows=2)
    _raw: list[deque[_Raw]] = remembered(
        By.FIRST, lambda d: [deque() for _ in range(len(d._pairs))], of="pairs"
    )
    _ticks: Levels = _per_pair(np.inf, rows=(_STEADY_TICKS, BANDS, 2))
    _tick: int = remembered(By.WHOLE, 0, of="pairs")
    _clock: PartClock = remembered(By.PART, lambda d: PartClock(d._pairs), of="pairs")

    def __init__(self, pairs: Pairs, *, voiced: float, lost_db: float, one_voice: float) -> None:
        """Start with nothing heard; `PairDrift` says what the limits are."""
        self._voiced, self._lost_db, self._one_voice = voiced, lost_db, one_voice
        self._pairs = pairs
        self._packs = np.concatenate([pairs.main, pairs.safety])
        self._pair_count = len(pairs)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Look for speech in those ticks at once."""
        self._ahead.look(block)

    def remaps(self, before: PairParts, remap: TrackRemap) -> Mapping[str, TrackRemap]:
        """The pairs are what it counts; `remap` says where each was before."""
        return {"pairs": remap}

    def update(self, m: Measurement, usual_db: Levels) -> list[tuple[int, Part]]:
        """Take in one tick; what is full now, each with its pair.

        usual_db : offset of each pair, shape (bands, pairs), NaN where not known
        """
        speech, alike, bands, sums = self._ahead.of(m)
        self._ticks[self._tick % _STEADY_TICKS] = sums
        return self._add(speech, alike, bands, m, usual_db)

    def _foresee(self, block: TickBlock) -> Iterator[_TickBands]:
        """Speech, and the energy of the bands of all packs, of each tick."""
        speech = self._pairs.speech(block)
        hops = speech.shape[1]
        sound = block.field("decimated")
        alike = np.ones((len(speech), self._pair_count))
        if any_of(speech):
            ticks, pairs = np.nonzero(speech.any(axis=1))
            both = (sound[ticks, packs[pairs]] for packs in (self._pairs.main, self._pairs.safety))
            alike[ticks, pairs] = voice_correlation(*both)
            speech &= ~(alike < self._one_voice)[:, None]
        low = sound[:, self._packs]
        low = low.reshape(*low.shape[:2], hops, -1)
        power = np.vecdot(low, low).swapaxes(1, 2) / low.shape[3]
        treble, sibilants = (
            block.field(name)[:, :, self._packs]
            for name in ("difference_energy", "sibilance_energy")
        )
        bands = (power, treble, sibilants)
        sums = np.stack([np.add.reduce(band, axis=1) for band in bands], axis=1)
        sums = sums.reshape(-1, BANDS, 2, self._pair_count) / hops
        for tick, one in enumerate(speech):
            yield _TickBands(one, alike[tick], tuple(band[tick] for band in bands), sums[tick])

    def _add(
        self,
        speech: Flags,
        alike: Levels,
        bands: tuple[Samples, ...],
        m: Measurement,
        usual_db: Levels,
    ) -> list[tuple[int, Part]]:
        self._tick += 1
        due = [p for p, raw in enumerate(self._raw) if raw and raw[0].tick <= self._tick]
        full: list[tuple[int, Part]] = []
        if not due and not any_of(speech):
            return full
        steady = self._ticks.min(axis=0)
        for pair in due:
            raw = self._raw[pair].popleft()
            part = self._closed(raw, steady[:, :, pair], usual_db[:, pair])
            full += [] if part is None else [(pair, part)]
        if any_of(speech):
            both = np.hstack([speech, speech])
            spoken = [np.add.reduce(band * both, axis=0) for band in bands]
            shape = (BANDS, 2, self._pair_count)
            self._fill(speech, np.array(spoken).reshape(shape), alike, steady, m)
        return full

    def _fill(
        self, speech: Flags, spoken: Levels, alike: Levels, steady: Levels, m: Measurement
    ) -> None:
        """Add one tick's speech to the parts that fill."""
        old = self._clock.drop_old(speech, m)
        self._energy[:, :, old], self._hops[old], self._weight[:, old] = 0.0, 0, 0.0
        self._energy += spoken
        self._hops += np.add.reduce(speech, axis=0)
        loud = np.sqrt(spoken[0, 0] * spoken[0, 1])
        self._weight += np.array([loud, loud * np.square(alike)])
        for pair in self._clock.add(speech, m).tolist():
            whole, shared = self._weight[:, pair]
            raw = _Raw(
                self._energy[:, :, pair].copy(),
                steady[:, :, pair].copy(),
                int(self._hops[pair]),
                float(-10.0 * np.log10(max(shared / max(whole, 1e-30), _LEAST_R**2))),
                float(self._clock.begin_s[pair]),
                self._tick + _AFTER_TICKS,
            )
            self._raw[pair].append(raw)
            self._energy[:, :, pair], self._hops[pair], self._weight[:, pair] = 0.0, 0, 0.0

    def _closed(self, raw: _Raw, steady: Levels, usual_db: Levels) -> Part | None:
        """The part, if there was a voice to be heard in it.

        steady : what was so in each hop after it, shape (bands, main and safety). What teaches,
        both packs must hear. Later, one that hears nothing tells of a fault only where what the
        other hears would stand out on it.
        """
        steady = raw.hops * np.maximum(raw.steady, steady)
        voice = np.maximum(raw.energy - steady, np.maximum(_LEAST_SHARE * raw.energy, 1e-30))
        voiced = raw.energy > self._voiced * steady
        offset_db = gain_offset_db(voice[:, 0], voice[:, 1])
        if np.isnan(usual_db[0]):
            enough = bool(voiced[0].all())
            audible = np.asarray(voiced.all(axis=1))
        else:
            usual = 10.0 ** (usual_db / 10.0)
            expected = np.stack([voice[:, 1] * usual, voice[:, 0] / usual], axis=1)
            stands_out = voiced | (expected > self._voiced * steady)
            close = abs(offset_db[0] - usual_db[0]) <= self._lost_db
            enough = bool(any_of(voiced[0]) and stands_out[0].all() and close)
            audible = np.asarray(voiced.any(axis=1) & stands_out.all(axis=1))
        if not enough:
            return None
        offset_db[1:][~audible[1:]] = np.nan
        level_db, *upper_db = 10.0 * np.log10(voice / raw.hops)
        steady_db = 10.0 * np.log10(np.maximum(steady / raw.hops, 1e-30))
        dull_db = level_db - np.array(upper_db)
        return Part(offset_db, raw.doubt_db, level_db, dull_db, steady_db, raw.begin_s)
