"""Which packs hear one voice: main and safety of a body, or two that the plan gives to two bodies.

Model: the two packs on one body hear its voice within a millisecond of each other, so their low
ends are correlated at such a lag. Another body hears it later, fainter and with more of the room;
what matches there is the period of a pitch, which moves, so correlations are averaged at each lag.
A voice rises and falls within seconds; what does not, say an aircraft, matches on strangers too.
A pack that matches another performer's, while the mates of both match neither, hangs on the wrong
input. The largest Pearson's r over those lags is generalised cross-correlation
without weighting (C. H. Knapp and G. C. Carter, IEEE Trans. ASSP 24(4), 320-327, 1976). A few
lines that stand, a howl or a chord, agree by chance: what matches must be more than these.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.phase_match import Spectrum, beyond_chance, cross_spectrum
from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import mean_square_at

LAGS: Final = 3
"""Each half a millisecond: a voice reaches both packs of one body within half a metre of air."""
LOUDER: Final = 2.0
"""A voice is close to its own packs: one of two that match has so many times any other's energy."""
NEWEST: Final = 0.2
"""Share of the newest tick in an average: it goes back half a second."""
VOICED: Final = 4.0
"""A voice stands so far over the quietest tick of the last seconds (6 dB): it has pauses, and what
all packs hear of an aircraft or a machine has none."""
PAUSE_TICKS: Final = 30
"""Three seconds."""
DEAF_DBFS: Final = -80.0
"""Who hears less of a voice nearby hears nothing: that pack is off, and has not moved."""
SPOKEN: Final = 0.5
"""Share of a tick's hops with speech, so that its correlation is that of the voice."""
BEYOND_CHANCE: Final = 3.5
"""Deviations. Six lines at least, and one of two strangers in 300 at the best of all lags (normal
distribution, either sign)."""
_DEAF: Final = float(mean_square_at(DEAF_DBFS))
_NONE: Final = np.zeros(0, dtype=np.int64)
_NO_R: Final = np.zeros((0, 2 * LAGS + 1))


@dataclass(slots=True)
class Match:
    """Two packs of different performers that match: for how many seconds of speech, since when.

    r : by lag, of the newest ticks
    across : what they have in common at each frequency
    """

    since_s: float
    seconds: float = 0.0
    r: Levels = field(default_factory=lambda: np.zeros(2 * LAGS + 1))
    across: Spectrum | float = 0.0


class TickSums(NamedTuple):
    """What all that follow voices ask of some ticks; of shape (ticks, tracks).

    energy : sum of the hops' mean squares
    whole : all hops count; speech : so many carry speech
    """

    energy: Levels
    whole: Flags
    speech: NDArray[np.int64]


def tick_sums(block: TickBlock) -> TickSums:
    """Add up the hops of each of those ticks."""
    if all(m.all_valid for m in block.ticks):
        whole = block.field("any_valid")
    else:
        whole = np.logical_and.reduce(block.field("valid"), axis=1)
    energy, speech = (
        np.add.reduce(block.field(name), axis=1) for name in ("mean_square", "speech")
    )
    return TickSums(energy, whole, speech)


def slow_rows(
    block: TickBlock, ticks: NDArray[np.int64], tracks: NDArray[np.int64]
) -> NDArray[np.float32]:
    """The decimated sound of those tracks in those ticks, broadcast, shape (..., frames)."""
    x = block.field("decimated")
    return np.asarray(x.reshape(-1, x.shape[2])[ticks * x.shape[1] + tracks])


class PackTick(NamedTuple):
    """What the packs hear in one tick.

    energy : (packs,) sum of the hops' mean squares
    whole, spoken : (packs,) all of it counts; it carries speech
    asked : rows of the packs that speak and have a mate
    own_r : (asked, lags) Pearson's r with the mate
    """

    energy: Levels
    whole: Flags
    spoken: Flags
    asked: NDArray[np.int64]
    own_r: Levels


class PackMatches(TrackMemory):
    """Adds up how long packs of different performers match, and their own mates do not.

    matches : by both track indices, the lower first
    """

    matches: dict[tuple[int, int], Match] = remembered(By.KEYS, lambda _: {})
    _energies: Levels = remembered(By.ANEW, lambda d: np.full((PAUSE_TICKS, len(d._packs)), np.inf))
    _tick: int = remembered(By.ANEW, 0)
    _own_r: Levels = remembered(By.ANEW, lambda d: np.zeros((len(d._packs), 2 * LAGS + 1)))
    _own: Levels = remembered(By.ANEW, lambda d: np.zeros(len(d._packs)))
    """The largest of each, of either sign."""

    def __init__(
        self, scene: Scene, packs: NDArray[np.int64], *, alike: float, unlike: float, most_s: float
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        packs : ndarray of int, shape (packs,)
            Track indices of all packs.
        alike : float
            Least r of two packs on one body.
        unlike : float
            A pack whose mate matches less than this share of its best match has lost it.
        most_s : float
            s. No more than this is added up, so that a match that ends is forgotten soon.
        """
        self._packs, self._alike, self._unlike, self._most_s = packs, alike, unlike, most_s
        row = {int(track_index): n for n, track_index in enumerate(packs)}
        self._mate = np.full(len(packs), -1, dtype=np.int64)
        for main, safety in scene.pairs():
            if main in row and safety in row:
                self._mate[row[main]], self._mate[row[safety]] = row[safety], row[main]
        self._has_mate = self._mate >= 0
        self.reset()

    def foresee(self, block: TickBlock, sums: TickSums) -> list[PackTick]:
        """What is a plain function of each of those ticks."""
        energy = sums.energy[:, self._packs]
        whole = sums.whole[:, self._packs]
        spoken = whole & (sums.speech[:, self._packs] >= SPOKEN * block.field("valid").shape[1])
        asked = spoken & self._has_mate
        rows, own_r = [_NONE] * len(energy), [_NO_R] * len(energy)
        if any_of(asked):
            asked &= (energy >= block.field("valid").shape[1] * _DEAF)[:, self._mate]
            ticks, packs = asked.nonzero()
            mates = self._packs[self._mate[packs]]
            r = by_lag(slow_rows(block, ticks, self._packs[packs]), slow_rows(block, ticks, mates))
            first = 0
            for tick, number in enumerate(count_of(asked, axis=1).tolist()):
                at = slice(first, first := first + number)
                rows[tick], own_r[tick] = packs[at], r[at]
        return list(map(PackTick, energy, whole, spoken, rows, own_r))

    def update(self, m: Measurement, tick: PackTick) -> None:
        """Take in one tick."""
        self._energies[self._tick % PAUSE_TICKS] = tick.energy
        self._tick += 1
        asked = tick.asked
        if not len(asked):
            return
        before_r = self._own_r[asked]
        own_r = before_r + NEWEST * (tick.own_r - before_r)
        best = np.abs(own_r).max(axis=1)
        self._own_r[asked], self._own[asked] = own_r, best
        tick_s = m.end_s - m.start_s
        if self.matches:
            self._end(asked[best >= self._alike], tick_s)
        lost = best < self._unlike
        if any_of(lost) and not self._one_is_off(tick, len(m.mean_square)):
            # What was learned of an input's floor says nothing of the pack that is there now.
            rises = tick.whole & (tick.energy >= VOICED * self._energies.min(axis=0))
            sounding = tick.spoken | rises
            x = m.decimated[self._packs]
            self._find(x, asked[lost], sounding, tick.energy, m.start_s, tick_s)

    def _one_is_off(self, tick: PackTick, hops: int) -> bool:
        """Whether a voice is heard by a pack whose mate is off: how loud its wearer would be there,
        nobody knows, so what strangers match on may be that voice across the place."""
        off = tick.energy < hops * _DEAF
        return any_of(tick.spoken & self._has_mate & off[self._mate])

    def rises(self, track_index: int) -> bool:
        """Whether that pack hears something come and go, as of the newest tick: a voice, and no
        engine."""
        energies = self._energies[:, self._packs == track_index]
        return bool(energies[(self._tick - 1) % PAUSE_TICKS] >= VOICED * energies.min())

    def _end(self, mated: NDArray[np.int64], tick_s: float) -> None:
        """Packs that match their own mates speak against all else, twice as much."""
        fine = set(self._packs[mated].tolist())
        for pair, match in list(self.matches.items()):
            if fine & set(pair):
                match.seconds -= 2.0 * tick_s
                if match.seconds <= 0.0:
                    del self.matches[pair]

    def _find(
        self,
        x: NDArray[np.float32],
        lost: NDArray[np.int64],
        sounding: Flags,
        energy: Levels,
        start_s: float,
        tick_s: float,
    ) -> None:
        """Count what each pack that lost its mate matches instead."""
        others = indices(sounding)
        r = by_lag(x[lost, np.newaxis], x[others])
        alike = np.abs(r).max(axis=2) >= self._alike
        asked = (alike | bool(self.matches)) & (others != lost[:, np.newaxis])
        if not any_of(asked):
            return
        counted = set(lost.tolist())
        for row, column in np.argwhere(asked).tolist():
            one, other = int(lost[row]), int(others[column])
            if other in counted and one > other:
                continue  # counted from the other side
            a, b = sorted((int(self._packs[one]), int(self._packs[other])))
            sign = 1 if int(self._packs[one]) == a else -1
            match = self.matches.get((a, b))
            if match is None:
                if not alike[row, column]:
                    continue
                match = self.matches[a, b] = Match(start_s)
            tick_r = r[row, column]
            match.r += NEWEST * (tick_r[::sign] - match.r)
            rest = np.delete(energy, [one, other]).max(initial=0.0)
            louder = one if energy[one] >= energy[other] else other
            near = energy[louder] >= LOUDER * rest
            near &= energy[louder] >= VOICED * self._energies[:, louder].min()
            best = float(np.abs(match.r).max())
            apart = max(self._own[one], self._own[other]) <= self._unlike * best
            if near and apart and best >= self._alike:
                newest = cross_spectrum(x[one], x[other])
                match.across += (newest - match.across) * tick_s / self._most_s
                if beyond_chance(match.across, LAGS) < BEYOND_CHANCE:
                    continue
                if match.seconds <= 0.0:  # it came up before, and told nothing
                    match.since_s = start_s
                match.seconds = min(match.seconds + tick_s, self._most_s)


def by_lag(one: NDArray[np.float32], other: NDArray[np.float32]) -> Levels:
    """Pearson's r of each row with its counterpart at each of the lags, shape (..., lags).

    Both have shape (..., frames), and are broadcast.
    """
    one = one - one.mean(axis=-1, keepdims=True)
    other = np.ascontiguousarray(other - other.mean(axis=-1, keepdims=True))
    middle = one[..., np.newaxis, LAGS : one.shape[-1] - LAGS]
    # The other at each lag: a view, in which the same samples lie in several rows.
    lagged = (*other.shape[:-1], 2 * LAGS + 1, middle.shape[-1])
    late = np.ndarray(lagged, other.dtype, other, 0, (*other.strides, other.strides[-1]))
    norm = np.vecdot(middle, middle) * np.vecdot(late, late)
    r = np.vecdot(middle, late) / np.sqrt(np.maximum(norm, 1e-30))
    return np.asarray(r, dtype=np.float64)


def voice_correlation(one: NDArray[np.float32], other: NDArray[np.float32]) -> Levels:
    """The largest Pearson's r of each row with its counterpart at any of the lags, either sign."""
    return np.asarray(np.abs(by_lag(one, other)).max(axis=-1))
