"""Polarity: the two packs of one `who` are inverted against each other.

Model: two packs on one body hear a voice within a millisecond or so of each other, which matters
little below 400 Hz: there the strongest correlation within 1.5 ms is positive, or negative where
crossed wires turn the wave over (Pearson's r is -1 for an inverted copy, whatever the gain). Their
radio systems may be milliseconds apart as well; by how much, the phase of all the low end says
(PHAT; Knapp, Carter, "The generalized correlation method for estimation of time delay", IEEE
Trans. ASSP 24(4), 1976).
Bleed and another tone change its size, not its sign. Only the wearer's own voice counts: a choir
reaches the two from several sides at once, and adds up differently at each. Crossed wires turn over
all of it, a low cut that is switched in on one track its lowest alone. A sign test over
quarters of a second of speech says which it is (seventeen of 18 alike are chance once in 14000
times: binomial), or the strength of the newest together, sooner. Which of the two packs is wrong
can't be heard: told once, of the safety. Common practice, no source.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.low_end import band_pass, extremes, is_wire, phase_match
from engine.detectors.pairs import Pairs, PartClock, parts_in
from engine.measure.decimate import Decimate
from engine.measure.pair_comparison import polarity
from engine.measure.sos_filter import SosFilter
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement
from engine.model.number_text import true_minus
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By, TrackRemap
from engine.model.tracks import Scene

LAG_S: Final = 0.0015
"""Half a metre of air: arithmetic, 343 m/s."""
LATENCY_S: Final = 0.008
"""One radio system may be later than another: none of an analogue one, up to 7 ms of a digital one
(common practice, no source)."""
MATCHES: Final = 1.5
"""They are that far apart where the phase agrees so many times as well as it does elsewhere (ours;
of speech it does 3 to 12 times)."""
KEPT: Final = 3
"""So many times the speech that tells is kept, to find where it began."""
_HELD_TICKS: Final = 5
"""Sound is filtered when a part is full, or half a second at once: fewer and longer stretches."""


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """A quarter of a second of speech of one pair.

    sums : correlation at each lag, then both energies
    match : the same of their phases alone
    """

    sums: Levels
    match: Levels
    begin_s: float


@dataclass(slots=True)
class _Heard:
    """The newest speech of one pair, and what it says."""

    parts: deque[_Part]
    inverted: bool = False
    onset_s: float = np.nan
    last_s: float = np.nan
    r: float = np.nan


class Polarity(TrackMemory):
    """Adds up the low end of both packs' speech, and looks at the sign of their correlation."""

    NEEDS_SAMPLES: ClassVar = False

    _clock: PartClock = remembered(By.PART, lambda d: PartClock(d._pairs), of="pairs")
    _sums: Levels = remembered(
        By.FIRST, lambda d: np.zeros((len(d._pairs), 2 * d._lags + 3)), of="pairs"
    )
    _match: Levels = remembered(
        By.FIRST, lambda d: np.zeros((len(d._pairs), 2 * d._lags + 1)), of="pairs"
    )
    _heard: list[_Heard] = remembered(
        By.FIRST,
        lambda d: [_Heard(deque(maxlen=KEPT * int(depth))) for depth in d._depth],
        of="pairs",
    )
    _band: SosFilter = remembered(By.PART, lambda d: d._band_filter(), of="packs")
    _tail: Levels = remembered(
        By.FIRST, lambda d: np.zeros((len(d._pack_indices), 2 * d._lags)), of="packs"
    )
    _held: list[tuple[NDArray[np.float32], Flags]] = remembered(By.ANEW, lambda _: [])

    def __init__(
        self,
        scene: Scene,
        *,
        low_hz: float = 90.0,
        high_hz: float = 350.0,
        soon: float = 0.6,
        sure_soon: float = 0.9,
        most: float = 0.8,
        sure_of_part: float = 0.5,
        clearer: float = 1.2,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        low_hz, high_hz : float
            Hz. Where the body is small against the wave (0.98 m at 350 Hz: arithmetic) and
            the voice, not the place, has its power.
        soon, sure_soon : float
            This share of the speech that is waited for is enough where Pearson's r is so
            strong: a voice near both packs reaches 0.8 to 0.97 (measured).
        most, sure_of_part : float
            Else so many more of the parts must say the same than the other, each for itself
            by an r of at least this: another sound may lie over the voice. Gusts of wind and
            tones of the place match by chance to 0.66, with either sign (measured).
        clearer : float
            Least ratio of the strongest correlation to the strongest of the other sign.
        """
        self._low_hz, self._high_hz = low_hz, high_hz
        self._soon, self._sure_soon = soon, sure_soon
        self._most, self._sure_of_part, self._clearer = most, sure_of_part, clearer
        self._pairs = Pairs(scene, Fault.POLARITY)
        self._tracks = len(scene.tracks)
        self._pack_indices = np.concatenate([self._pairs.main, self._pairs.safety])
        self._asked = np.zeros(self._tracks, dtype=np.bool_)
        self._asked[self._pairs.safety] = True
        self._partners = np.full(self._tracks, -1, dtype=np.int64)
        self._partners[self._pairs.safety] = self._pairs.main
        self._depth = parts_in(scene.numbers("polarity_amber_s")[self._pairs.safety])
        self._slow = Decimate(scene.sample_rate_hz)
        self._near = max(1, round(LAG_S * self._slow.rate_hz))
        self._lags = self._near + round(LATENCY_S * self._slow.rate_hz)
        self._sos = band_pass(low_hz, high_hz, self._slow.rate_hz)
        self._ahead = Ahead(self._pairs.speech)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Look for speech in those ticks at once."""
        if len(self._pairs):
            self._ahead.look(block)

    def _band_filter(self) -> SosFilter:
        packs, hops = len(self._pack_indices), 10 * _HELD_TICKS
        return SosFilter(self._sos, packs, self._slow.hop_frames, hops)

    def remaps(self, before: Polarity, remap: TrackRemap) -> Mapping[str, TrackRemap]:
        """Where the pairs were, and their packs: all mains first, then all safeties."""
        pairs = self._pairs.moved(before._pairs, remap)
        second = np.where(pairs.old < 0, -1, pairs.old + len(before._pairs))
        packs = TrackRemap(np.concatenate([pairs.old, second]))
        return {"pairs": pairs, "packs": packs}

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while the newest seconds of speech, as many as the limit says, are inverted."""
        if measurement is None or not len(self._pairs):
            return unknown(self._tracks)
        m = measurement
        speech = self._ahead.of(m)
        self._held.append((m.decimated[self._pack_indices], speech))
        for pair, heard in enumerate(self._heard):
            if heard.inverted and any_of(speech[:, pair]):
                heard.last_s = m.end_s
        full = self._clock.add(speech, m).tolist()
        if full or len(self._held) == _HELD_TICKS:
            self._add_held()
        for pair in full:
            self._judge(pair, m.end_s)
        return self._condition(m)

    def _add_held(self) -> None:
        """Filter what was held back, all at once, and add its speech to the parts that fill."""
        slow = np.concatenate([sound for sound, _ in self._held], axis=1)
        speech = np.concatenate([flags for _, flags in self._held])
        self._held = []
        x = np.concatenate([self._tail, self._band(slow)], axis=1)
        self._tail = x[:, -2 * self._lags :]
        for pair in indices(speech.any(axis=0)).tolist():
            self._add(pair, x, speech[:, pair])

    def _condition(self, m: Measurement) -> Condition:
        if not any(heard.inverted for heard in self._heard):
            return quiet(m.any_valid & self._asked)
        active = np.zeros(self._tracks, dtype=np.bool_)
        onset_s, last_s = np.full((2, self._tracks), np.nan)
        for track_index, heard in zip(self._pairs.safety, self._heard, strict=True):
            if heard.inverted:
                active[track_index] = True
                onset_s[track_index], last_s[track_index] = heard.onset_s, heard.last_s
        never = np.zeros(self._tracks, dtype=np.bool_)
        known = m.any_valid & self._asked
        return condition(active, known, onset_s, last_s, never, self._partners)

    def _add(self, pair: int, x: Levels, speech: Flags) -> None:
        """Add a stretch's speech to the part that fills."""
        lags, pairs = self._lags, len(self._pairs)
        keep = np.repeat(speech, (x.shape[1] - 2 * lags) // len(speech))
        main = x[pair, lags : x.shape[1] - lags] * keep  # in the middle of the safety's lags
        safety = x[pairs + pair]
        middle = safety[lags : lags + len(main)] * keep
        sums = self._sums[pair]
        sums[:-2] += np.correlate(safety, main)
        sums[-2:] += main @ main, middle @ middle
        self._match[pair] += phase_match(main, middle, self._lags)

    def _judge(self, pair: int, now_s: float) -> None:
        """Count a full part, and look at the sign of the newest together."""
        heard = self._heard[pair]
        begin_s = float(self._clock.begin_s[pair])
        part = _Part(self._sums[pair].copy(), self._match[pair].copy(), begin_s)
        self._sums[pair] = self._match[pair] = 0.0
        heard.parts.append(part)
        newest = list(heard.parts)[-int(self._depth[pair]) :]
        if len(newest) < self._depth[pair]:
            return
        near = self._near_lags(heard.parts)
        if near is None:
            return
        sign, r = self._told(newest, near)
        if sign < 0 and not heard.inverted:
            heard.onset_s = self._onset(heard, near)
        if sign < 0:
            heard.last_s, heard.r = now_s, r
        if sign != 0:
            heard.inverted = sign < 0

    def _onset(self, heard: _Heard, near: slice) -> float:
        """Begin of the part from which on most speaks for inverted, and before against it.

        A weak one, as where another sound covers the voice, speaks neither way.
        """
        onset_s, votes, most = heard.parts[-1].begin_s, 0, 0
        for part in reversed(heard.parts):
            sign = self._sign(part.sums, near, self._sure_of_part)[0]
            votes -= sign
            if sign < 0 and votes > most:
                onset_s, most = part.begin_s, votes
        return onset_s

    def _told(self, parts: list[_Part], near: slice) -> tuple[int, float]:
        """What the newest speech says: the last of it by its strength, or nearly each part."""
        soon = parts[-math.ceil(self._soon * len(parts)) :]
        sums = np.sum([part.sums for part in soon], axis=0)
        told = self._sign(sums, near, self._sure_soon)
        if not told[0]:
            sums = np.sum([part.sums for part in parts], axis=0)
            told = self._sign(sums, near, 0.0)
            each = sum(self._sign(part.sums, near, self._sure_of_part)[0] for part in parts)
            if told[0] * each < self._most * len(parts):
                return 0, 0.0
        return told if told[0] > 0 or is_wire(sums[:-2], near) else (0, 0.0)

    def _sign(self, sums: Levels, near: slice, sure: float) -> tuple[int, float]:
        """+1 upright, -1 inverted, 0 too weak to say; and the strongest correlation coefficient."""
        sign, r = polarity(np.array(extremes(sums[:-2], near)), sums[-2:], self._clearer)
        return (sign, r) if abs(r) >= sure else (0, 0.0)

    def _near_lags(self, parts: Iterable[_Part]) -> slice | None:
        """Lags that a body leaves between the packs, about where their phases match."""
        match = np.sqrt(np.sum([part.match**2 for part in parts], axis=0))  # of either sign
        lag = int(match.argmax())
        near = slice(max(lag - self._near, 0), lag + self._near + 1)
        highest = match[lag]
        match[near] = 0.0
        return near if highest > MATCHES * match.max() else None

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        heard = self._heard[self._pairs.safety.tolist().index(track_index)]
        return true_minus(f"inverted against the main: correlation {heard.r:.2f}")
