"""Crackle: a contact opens and closes; a cable, a plug or a switch that wears out.

Model: when a contact lets go, the bias behind it jumps, which is an electrical step of one sample
or two that a coupling capacitor lets go again in a millisecond or more, on one side of zero.
Nothing before foretells it, where words are foretold by their resonances: so a pop is an outlier of
the error of linear prediction (S. Godsill, P. Rayner, "Digital audio restoration", 1998; from
memory) that stays where it went (`pop_shape`). What comes through air and a capsule rings to both
sides, however short it is: a drop, a hailstone, a key, a crease in a raincoat; and other tracks
hear it, as they do a fire: fainter, but in the same moment, in which their treble is louder than it
hardly ever was in the last second. A mobile phone's transmitter that leaks into a pack or a cable
does as a contact does, but keeps time. Numbers: common practice, no source.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, unknown
from engine.detectors.heard_elsewhere import LATER_HOPS, is_shared
from engine.detectors.phone_bursts import buzzes
from engine.detectors.pop_shape import (
    CHATTER,
    forecast,
    is_sudden,
    last_step,
    stands_out,
    stays,
    step_height,
)
from engine.detectors.seams import is_seam
from engine.detectors.stepped_hops import SteppedHops
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.fault_rules import BURST_GAP_S, Named
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import (
    Condition,
    Fault,
    Flags,
    Kind,
    Levels,
    Measurement,
    PackLevel,
    Samples,
)
from engine.model.percentiles import median
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import amplitude

LATELY_TICKS: Final = 11
NEAR_S: Final = 0.001
BESIDE: Final = 0.5
"""The other pack hears it where it has an outlier of this share of the limit so soon."""
OF_ALL: Final = 1.0 / 16.0
"""Of what stands out so many are pops: of drops and creases one in 150 has that shape (ours)."""
PHONE_HOPS: Final = 3
"""A phone's bursts are in more hops of a tick than a few."""
APART_S: Final = 0.03
"""Pops nearer than this are one contact that opens and closes."""
SAFETY_DB: Final = 12.0
"""A safety stands so much lower (common practice, no source), and so does what spoils it."""

_MOST: Final = 1000
"""Hops of ten seconds."""


class _Outlier(NamedTuple):
    """A step that stands out: when, s; how high; whether it is a pop, and one of a phone."""

    at_s: float
    height: float
    pop: bool = False
    phone: bool = False


class Crackle(TrackMemory):
    """Looks closer at hops with a step far over the treble round it, once 20 ms more are there:
    what follows the step, and what others hear of it."""

    NEEDS_SAMPLES: ClassVar = True

    _pops: list[deque[_Outlier]] = each_track(deque)
    """Of the last ten seconds before the newest."""
    _others: list[deque[_Outlier]] = each_track(lambda: deque(maxlen=_MOST))
    """What else stood out lately."""
    _first_s: Levels = per_track(np.nan)
    _sound: deque[Measurement] = remembered(By.ANEW, lambda _: deque(maxlen=2))
    """The tick before and this one."""
    _lately: deque[tuple[Samples, Flags]] = remembered(
        By.ANEW, lambda _: deque(maxlen=LATELY_TICKS + 1)
    )
    """Treble of those ticks, and which of their hops are looked at."""
    _last: Samples = per_track(0.0, dtype=np.float32)
    _repeats_to_s: Levels = per_track(-np.inf)

    def __init__(
        self,
        scene: Scene,
        *,
        outlier: float = 12.0,
        least: float = 0.02,
        pops: int = 3,
        red_pops: int = 6,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        outlier : float
            Least error of prediction against the deviation of those before it.
        least : float
            Full scale 1.0. Smaller steps spoil nothing; on a safety they lie lower.
        pops, red_pops : int
            So many in 10 s are a fault, and so many are one that goes on (CONTRACT.md).
        """
        lower_db = [SAFETY_DB * (track.level is PackLevel.SAFETY) for track in scene.tracks]
        self._least = least / amplitude(np.array(lower_db))
        self._outlier = outlier
        self._enough, self._red_pops = pops, red_pops
        self._watched = scene.watched(Fault.CRACKLE)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self._partner: dict[int, int] = {}
        for main, safety in scene.pairs():
            self._partner[main], self._partner[safety] = safety, main
        hops = SteppedHops(scene, self._least, outlier=outlier)
        self._ahead = Ahead(lambda block: hops.of(block, self._last))
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Find the hops of those ticks that are to be looked at."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active in the tick of a pop, or in the next one, from the third within ten seconds on."""
        if measurement is None:
            return unknown(self._tracks)
        m, ahead = measurement, self._ahead.of(measurement)
        if self._sound and m.start_s > self._sound[-1].end_s + m.hop_s / 2.0:
            self._sound.clear()
            self._lately.clear()
        self._sound.append(m)
        self._lately.append((m.difference_energy, ahead.looked_at))
        self._last = m.samples[-1]
        if m.repeats:
            self._forget_repeated(m)
        if len(self._sound) < 2 or not (ahead.some or any_of(self._lately[-2][1][-LATER_HOPS:])):
            return ahead.calm
        active, red = self._judge()
        if not any_of(active):
            return ahead.calm
        known = m.any_valid & self._watched
        last_s = np.array([pops[-1].at_s if pops else np.nan for pops in self._pops])
        return condition(active & known, known, self._first_s, last_s, red)

    def _forget_repeated(self, m: Measurement) -> None:
        """Where a buffer is played again its seams are no pops."""
        for one in m.repeats:
            self._repeats_to_s[one.track_index] = one.end_s if one.ended else m.end_s
            pops = self._pops[one.track_index]
            while pops and pops[-1].at_s >= one.begin_s - NEAR_S:
                pops.pop()

    def _judge(self) -> tuple[Flags, Flags]:
        """Tracks with a pop in the hops of which all is known by now, where there are enough of
        them; and enough for red."""
        (_, before), (_, now) = self._lately[-2], self._lately[-1]
        over = np.concatenate([before[-LATER_HOPS:], now[:-LATER_HOPS]])
        active = np.zeros(self._tracks, dtype=np.bool_)
        red = np.zeros(self._tracks, dtype=np.bool_)
        for track_index in indices(over.any(axis=0)).tolist():
            x, hops = self._sound_of(track_index), indices(over[:, track_index])
            for outlier in self._outliers(track_index, hops + len(over) - LATER_HOPS, x):
                if self._add(track_index, outlier):
                    active[track_index] = self._are_enough(track_index)
                    red[track_index] = len(self._pops[track_index]) >= self._red_pops
        return active, red

    def _are_enough(self, track_index: int) -> bool:
        """Whether there are enough pops, for themselves and of all that stands out half as high as
        the middle one of them: one of many drops has the shape of one by chance."""
        pops = self._pops[track_index]
        if len(pops) < self._enough:
            return False
        least = 0.5 * float(median(np.array([one.height for one in pops])))
        high = sum(one.height >= least for one in pops)
        others = self._others[track_index]
        lately = [one for one in others if one.at_s >= pops[-1].at_s - BURST_GAP_S]
        return high >= OF_ALL * (high + sum(one.height >= least for one in lately))

    def _outliers(
        self, track_index: int, hops: NDArray[np.int64], x: Samples
    ) -> Iterator[_Outlier]:
        """What stands out in those hops of the two ticks, of which `x` is the sound; the bursts of
        a phone are one, whoever else hears them."""
        if len(hops) >= PHONE_HOPS and buzzes(x, self._rate_hz):
            m = self._sound[-1]
            height = float(np.abs(np.diff(x)).max())
            if 2.0 * height >= self._least[track_index]:
                at_s = m.start_s + (hops[0] - len(m.valid)) * m.hop_s
                yield _Outlier(float(at_s), height, pop=True, phone=True)
                return
        for hop in hops.tolist():
            outlier = self._outlier_in(track_index, hop, x)
            if outlier is not None:
                yield outlier

    def _outlier_in(self, track_index: int, hop: int, x: Samples) -> _Outlier | None:
        """What stands out in that hop of the two ticks, of which `x` is the sound."""
        m = self._sound[-1]
        frames = len(m.samples) // len(m.valid)
        begin = hop * frames
        hop_steps = np.abs(np.diff(x[begin - 1 : begin + frames]))
        # The first of those that stand out: it closes again with another one.
        at = begin - 1 + int((hop_steps >= CHATTER * hop_steps.max()).argmax())
        height = step_height(x, at)
        if height < self._least[track_index]:
            return None
        at_s = float(m.start_s + (at + 1 - len(m.samples)) / self._rate_hz)
        if at_s <= self._repeats_to_s[track_index] + NEAR_S:
            return None
        last = last_step(x, at, self._rate_hz)
        if not is_sudden(x, last, self._rate_hz):
            return _Outlier(at_s, height)
        before = forecast(x, at, self._rate_hz)
        if not stands_out(x, at, before, self._outlier):
            return None
        pop = stays(x, at, last, before, self._rate_hz)
        if pop and (self._is_beside(track_index, at) or self._is_shared(track_index, hop)):
            return None
        if pop and is_seam(x, at, self._rate_hz):
            return None
        return _Outlier(at_s, height, pop)

    def _is_shared(self, track_index: int, hop: int) -> bool:
        """Whether other tracks hear something round that hop of the two ticks."""
        energy, looked_at = (np.concatenate(rows) for rows in zip(*self._lately, strict=True))
        at = len(energy) - 2 * len(self._lately[-1][1]) + hop
        return is_shared(energy, looked_at, self._open, track_index, at)

    def _sound_of(self, track_index: int) -> Samples:
        """The last two ticks of that track."""
        return np.concatenate([tick.samples[:, track_index] for tick in self._sound])

    def _is_beside(self, track_index: int, at: int) -> bool:
        """Whether the performer's other pack has something as unforeseen within a millisecond."""
        partner = self._partner.get(track_index)
        if partner is None:
            return False
        x = self._sound_of(partner)
        near = round(NEAR_S * self._rate_hz)
        step = np.abs(np.diff(x[at - near : at + near + 2]))
        there = at - near + int(step.argmax())
        before = forecast(x, there, self._rate_hz)
        return stands_out(x, there, before, BESIDE * self._outlier)

    def _add(self, track_index: int, outlier: _Outlier) -> bool:
        """Keep it with those of the last ten seconds; whether it is another pop."""
        pops = self._pops[track_index]
        while pops and outlier.at_s - pops[0].at_s > BURST_GAP_S:
            pops.popleft()
        if pops and outlier.at_s - pops[-1].at_s < APART_S:
            return False
        if not outlier.pop:
            self._others[track_index].append(outlier)
            return False
        if not pops:
            self._first_s[track_index] = outlier.at_s
        pops.append(outlier)
        return True

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        pops = self._pops[track_index]
        if 2 * sum(one.phone for one in pops) >= len(pops):
            return f"{len(pops)} {Named.PHONE} in 10 s, by their 217 Hz"
        return f"{len(pops)} pops in 10 s, as of a contact that opens"
