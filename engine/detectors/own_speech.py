"""Ticks in which one performer speaks into their own pack, and how that sounds.

Model: a voice is its wearer's where their pack has several times any other's energy, and stands
clearly farther over its floor than on any other performer's pack: all hear applause alike. Where
the wearer has a second pack, another pack must hear it within a millisecond: it is a voice, and no
gust, cloth or hand on one of them. Cepstra are those of S. B. Davis and P. Mermelstein (IEEE Trans.
ASSP 28(4), 357-366, 1980), without the first: level says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.pack_matches import TickSums, slow_rows, voice_correlation
from engine.detectors.pairs import OWN
from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Levels, Samples
from engine.model.units import mean_square_at

FRAMES: Final = 4
"""Short spectra a tick: 25 ms each, as is usual for speech."""
BANDS: Final = 24
CEPSTRA: Final = 14
BAND_HZ: Final = (100.0, 7000.0)
_SPOKEN: Final = 0.5
"""Share of the tick's hops with speech."""
_CLIPS: Final = 0.98
_TICKS: Final = np.arange(1000)


class OwnSpeech(NamedTuple):
    """What one pack heard of its own wearer in a tick.

    cepstra : (FRAMES, CEPSTRA)
    level_db : (2,) how loud it was, on that pack and on the wearer's second one, dB
    mated : the second pack heard the same
    """

    track_index: int
    cepstra: Levels
    level_db: Levels
    mated: bool


class OwnSpeechFinder:
    """Finds such ticks; keeps nothing of the sound."""

    def __init__(
        self,
        packs: NDArray[np.int64],
        sample_rate_hz: int,
        *,
        louder: float,
        alike: float,
        mates: Mapping[int, int],
        witnesses: NDArray[np.int64],
        rivals: Mapping[int, NDArray[np.int64]],
    ) -> None:
        """Prepare for those packs; see `VoiceModels` for what they all are."""
        self._packs, self._rate_hz = packs, sample_rate_hz
        self._louder, self._alike, self._witnesses = louder, alike, witnesses
        mate_of = np.array([mates.get(int(n), -1) for n in packs], dtype=np.int64)
        self._has_mate = mate_of >= 0
        self._both = np.stack((packs, np.where(self._has_mate, mate_of, packs)), axis=1)
        self._is_mate = witnesses == mate_of[:, np.newaxis]
        self._is_other = witnesses != packs[:, np.newaxis]
        highest = max([*packs, *(n for one in rivals.values() for n in one)], default=-1)
        self._rivals = np.zeros((len(packs), highest + 1), dtype=np.bool_)
        for row, track_index in enumerate(packs.tolist()):
            self._rivals[row, rivals.get(track_index, packs[packs != track_index])] = True
        self._length = 0

    def find(self, block: TickBlock, sums: TickSums) -> list[OwnSpeech | None]:
        """Whose own voice is heard in each of those ticks, if one's is."""
        spoken: list[OwnSpeech | None] = [None] * len(block.ticks)
        if len(self._packs) < 2:
            return spoken
        ticks, rows = self._loudest(block, sums)
        if len(ticks):
            ticks, rows = self._own(block, sums, ticks, rows)
        if len(ticks):
            ticks, rows, mated = self._heard_too(block, ticks, rows)
        if not len(ticks):
            return spoken
        track_indices = self._packs[rows]
        cepstra = self._cepstra(block.sound[ticks, track_indices])
        energy = sums.energy[ticks[:, np.newaxis], self._both[rows]]
        level_db = 10.0 * np.log10(energy + 1e-20)
        parts = zip(track_indices.tolist(), cepstra, level_db, mated.tolist(), strict=True)
        for tick, part in zip(ticks.tolist(), parts, strict=True):
            spoken[tick] = OwnSpeech(*part)
        return spoken

    def _loudest(
        self, block: TickBlock, sums: TickSums
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Ticks in which one pack is far louder than the others and carries speech, and its row."""
        energy = sums.energy[:, self._packs]
        order, ticks = energy.argsort(axis=1), _TICKS[: len(energy)]
        second, rows = order[:, -2], order[:, -1]
        loud = energy[ticks, rows] >= self._louder * energy[ticks, second]
        ticks = indices(loud)
        if len(ticks):
            track_indices = self._packs[rows[ticks]]
            spoken = sums.speech[ticks, track_indices] >= _SPOKEN * block.field("speech").shape[1]
            ticks = ticks[spoken & sums.whole[ticks, track_indices]]
        if len(ticks):
            peak = block.field("peak")[ticks, :, self._packs[rows[ticks]]].max(axis=1)
            ticks = ticks[peak < _CLIPS]
        return ticks, rows[ticks]

    def _own(
        self,
        block: TickBlock,
        sums: TickSums,
        ticks: NDArray[np.int64],
        rows: NDArray[np.int64],
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Those of the ticks in which it stands farther over the floor than anywhere else."""
        energy = sums.energy[ticks] / block.field("valid").shape[1]
        over = energy / mean_square_at(block.field("floor_dbfs")[ticks])
        rivals = self._rivals[rows]
        others = over[:, : rivals.shape[1]]
        loudest = np.fmax.reduce(others, axis=1, where=rivals, initial=0.0)
        own = ~(over[_TICKS[: len(rows)], self._packs[rows]] < OWN * loudest)
        return ticks[own], rows[own]

    def _heard_too(
        self, block: TickBlock, ticks: NDArray[np.int64], rows: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Flags]:
        """Those of the ticks in which another pack hears the same, where there is a second one; and
        whether that does."""
        has_mate = self._has_mate[rows]
        if not any_of(has_mate):
            return ticks, rows, has_mate
        at = ticks[:, np.newaxis]
        own = slow_rows(block, at, self._packs[rows, np.newaxis])
        r = voice_correlation(own, slow_rows(block, at, self._witnesses))
        alike = (r >= self._alike) & self._is_other[rows]
        heard = alike.any(axis=1) | ~has_mate
        mated = np.asarray((alike & self._is_mate[rows]).any(axis=1))
        return ticks[heard], rows[heard], mated[heard]

    def _cepstra(self, sound: Samples) -> Levels:
        """Of each tick's sound, shape (ticks, frames): (ticks, FRAMES, CEPSTRA)."""
        length = sound.shape[1] // FRAMES
        if self._length != length:
            self._length = length
            self._window = np.hanning(length + 2)[1:-1].astype(np.float32)
            self._filters = _filters(length, self._rate_hz)
            n = np.arange(BANDS) + 0.5
            self._cosines = np.cos(np.pi * np.outer(np.arange(1, CEPSTRA + 1), n) / BANDS)
        x = sound[:, : FRAMES * length].reshape(-1, FRAMES, length) * self._window
        power = np.square(np.abs(np.fft.rfft(x, axis=2)))
        logs = np.log(power @ self._filters.T + 1e-12)
        return np.asarray(logs @ self._cosines.T / np.sqrt(BANDS))


def _filters(length: int, rate_hz: float) -> Levels:
    """Triangles evenly spaced on the mel scale, shape (BANDS, bins)."""
    top_hz = min(BAND_HZ[1], 0.45 * rate_hz)
    mel = np.linspace(_mel(BAND_HZ[0]), _mel(top_hz), BANDS + 2)
    edges = 700.0 * (10.0 ** (mel / 2595.0) - 1.0)
    hz = np.arange(length // 2 + 1) * rate_hz / length
    low, middle, high = edges[:-2, None], edges[1:-1, None], edges[2:, None]
    up, down = (hz - low) / (middle - low), (high - hz) / (high - middle)
    filters = np.clip(np.minimum(up, down), 0.0, None)
    nearest = np.abs(hz[None, :] - middle).argmin(axis=1)
    filters[np.arange(BANDS), nearest] = np.maximum(filters[np.arange(BANDS), nearest], 0.1)
    return np.asarray(filters)


def _mel(hz: float) -> float:
    return float(2595.0 * np.log10(1.0 + hz / 700.0))
