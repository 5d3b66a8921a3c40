"""Crackle: a contact opens and closes; a cable, a plug or a switch that wears out.

Model: when a contact lets go, the bias behind it jumps, which is an electrical step of one sample
or two that a coupling capacitor lets go again in a millisecond or more, on one side of zero. What
comes through air and a capsule rings to both sides, however short it is: a drop, a hailstone, a
key, a crease in a raincoat; and other tracks hear it, as they do a fire: fainter, but in the same
moment. A mobile phone's transmitter that leaks into a pack or a cable does as a contact does, but
keeps time. So a pop is a step that stands far over the steps before it (a one-sided outlier test at
`outlier` standard deviations), holds most of the treble round it, reaches far over the peaks before
it, unless it is so sudden that no loud sound makes it, and stays where it went. Numbers: common
practice, no source.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, unknown
from engine.detectors.pop_shape import is_outlier, keeps_time, stays
from engine.detectors.stepped_hops import BEFORE_HOPS, LookedAt, SteppedHops
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.fault_rules import BURST_GAP_S
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

BEFORE_S: Final = 0.01
GUARD_S: Final = 0.0005
"""A pop is held against the sound from so long to so short before it."""
ROUND_S: Final = (0.0004, 0.0004)
"""Its surroundings, before and after it."""
WIDTH: Final = 3
"""Samples on each side of the step that belong to it, at 48 kHz."""
SUDDEN: Final = 2.0
SUDDEN_SHARE: Final = 0.9
"""A step so many times over the outlier test's limit, that holds this share of the treble round it,
is as electrical amid loud sound, or where the contact stood open before it."""
LATER_HOPS: Final = 2
"""Another mic hears it within so many hops: 7 m of air (arithmetic)."""
BESIDE: Final = 0.5
"""A track with a step of this share of the limit in the same moment stands out itself."""
RISE: Final = 2.0
"""Treble of another track that has so many times the energy of the third and second hop before (3
dB) has heard it: so has half of the tracks one time in thirty by chance, while somebody speaks
(measured)."""
APART_S: Final = 0.03
"""Pops nearer than this are one contact that opens and closes."""
SAFETY_DB: Final = 12.0
"""A safety stands so much lower (common practice, no source), and so does what spoils it."""


@dataclass(slots=True, eq=False)
class _Pop:
    """One pop of one track, s, and the energy of all tracks' treble before it and with it; of so
    many hops it is yet to come. `near`: tracks that stand out in the same moment themselves."""

    track_index: int
    at_s: float
    partner: int | None
    before: Levels
    here: Levels
    near: Flags
    to_come: int

    def hear(self, energy: Samples, out: Flags) -> None:
        """Take in what is yet to come, from the begin of a tick."""
        if self.to_come:
            self.here = np.maximum(self.here, energy[: self.to_come].max(axis=0))
            later: Flags = np.asarray(out[: self.to_come].any(axis=0))
            if self.partner is not None:  # it hears what sounds in the same moment
                later[self.partner] = False
            self.near = self.near | later
        self.to_come = 0


class Crackle(TrackMemory):
    """Looks closer at hops whose treble stands far over that of the hops round them."""

    NEEDS_SAMPLES: ClassVar = True

    _pops: list[deque[float]] = each_track(deque)
    _phone_s: list[deque[float]] = each_track(lambda: deque(maxlen=20))
    """Of which pops were a phone's."""
    _first_s: Levels = per_track(np.nan)
    _tail: Samples = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, round(BEFORE_S * d._rate_hz)), dtype=np.float32)
    )
    _energy: Levels = per_track(np.inf, rows=BEFORE_HOPS)
    """Of the treble in the newest hops before this tick."""
    _late: list[_Pop] = remembered(By.ANEW, lambda _: [])
    """At the end of the tick before: what others hear of them comes in this one."""

    def __init__(
        self,
        scene: Scene,
        *,
        stands_out: float = 8.0,
        outlier: float = 12.0,
        least: float = 0.02,
        share: float = 0.5,
        over_peaks: float = 2.0,
        pops: int = 3,
        red_pops: int = 6,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        stands_out : float
            Energy of the steps in a hop against that of the tick's middle hop: looked at closely.
        outlier : float
            Least step against the deviation of those before it.
        least : float
            Full scale 1.0. Smaller steps spoil nothing; on a safety they lie lower.
        share : float
            Least share of the treble round it that the step itself holds.
        over_peaks : float
            The pop reaches so many times the highest peak before it.
        pops, red_pops : int
            So many in 10 s are a fault, and so many are one that goes on (CONTRACT.md).
        """
        self._stands_out, self._outlier = stands_out, outlier
        lower_db = [SAFETY_DB * (track.level is PackLevel.SAFETY) for track in scene.tracks]
        self._least = least / amplitude(np.array(lower_db))
        self._share, self._over_peaks = share, over_peaks
        self._enough, self._red_pops = pops, red_pops
        self._watched = scene.watched(Fault.CRACKLE)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._rate_hz = scene.sample_rate_hz
        self._width = max(WIDTH, round(WIDTH * scene.sample_rate_hz / 48_000))
        self._tracks = len(scene.tracks)
        self._partner: dict[int, int] = {}
        for main, safety in scene.pairs():
            self._partner[main], self._partner[safety] = safety, main
        self._paired = np.array([n in self._partner for n in range(self._tracks)], dtype=np.bool_)
        self._hops = SteppedHops(
            scene, self._least, self._paired, stands_out=stands_out, outlier=outlier
        )
        self._ahead = Ahead(lambda block: self._hops.of(block, self._energy, self._tail[:, -1]))
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Find the hops of those ticks that are to be looked at."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active in the tick of a pop, from the third within ten seconds on."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        said = ahead.calm
        if ahead.some or self._late:
            said = self._look(m, ahead)
        self._tail = m.samples[-self._tail.shape[1] :].T
        self._energy = ahead.known[-BEFORE_HOPS:]
        return said

    def _look(self, m: Measurement, ahead: LookedAt) -> Condition:
        """Count the pops of a tick that may have some."""
        active = np.zeros(self._tracks, dtype=np.bool_)
        red = np.zeros(self._tracks, dtype=np.bool_)
        for pop in self._pops_in(ahead, m):
            heard = pop.here >= RISE * pop.before
            if not self._is_shared(pop.track_index, pop.near, heard):
                self._count(pop.track_index, pop.at_s)
                active[pop.track_index] = True
        for track_index in indices(active).tolist():
            pops = self._pops[track_index]
            active[track_index] = len(pops) >= self._enough
            red[track_index] = len(pops) >= self._red_pops
        if not any_of(active):
            return ahead.calm
        known = m.any_valid & self._watched
        last_s = np.array([pops[-1] if pops else np.nan for pops in self._pops])
        return condition(active & known, known, self._first_s, last_s, red)

    def _highest_steps(self, m: Measurement) -> Samples:
        """The largest step of each hop, shape (hops, tracks)."""
        step = np.abs(np.diff(m.samples, axis=0, prepend=self._tail[:, -1:].T))
        return np.asarray(step.reshape(len(m.valid), -1, self._tracks).max(axis=1))

    def _pops_in(self, ahead: LookedAt, m: Measurement) -> list[_Pop]:
        """Pops that can be judged now: what others hear of them is there."""
        pops, self._late = self._late, []
        known, looked_at, out, energy = ahead.known, ahead.looked_at, ahead.out, m.difference_energy
        heights = np.square(self._highest_steps(m))
        heights = heights / np.maximum(ahead.middle, 1e-30)
        beside = out | (heights >= (BESIDE * self._outlier) ** 2)
        for pop in pops:
            pop.hear(energy, beside)
        for track_index in indices(looked_at.any(axis=0)).tolist():
            for hop in indices(looked_at[:, track_index]).tolist():
                span = slice(max(hop - 1, 0), hop + LATER_HOPS + 1)
                near: Flags = np.asarray(beside[span].any(axis=0))
                partner = self._partner.get(track_index)
                if partner is not None:  # as near as this one: it would stand out as far
                    high = heights[span, partner].max() >= BESIDE**2 * heights[hop, track_index]
                    near[partner] = high or out[span, partner].any()
                if self._is_shared(track_index, near, near):
                    continue
                at_s = self._at_s(track_index, hop, m)
                if at_s is None:
                    continue
                before = known[hop : hop + BEFORE_HOPS - 1].max(axis=0)
                here = energy[hop : hop + LATER_HOPS + 1].max(axis=0)
                to_come = max(hop + LATER_HOPS + 1 - len(energy), 0)
                pop = _Pop(track_index, at_s, partner, before, here, near, to_come)
                (self._late if to_come else pops).append(pop)
        return pops

    def _is_shared(self, track_index: int, near: Flags, heard: Flags) -> bool:
        """Whether the other pack stands out in that moment, or half of the other tracks hear it."""
        partner = self._partner.get(track_index)
        if partner is not None and near[partner]:
            return True
        others = self._open.copy()
        others[track_index] = False
        number = np.count_nonzero((near | heard) & others)
        return bool(number > 1 and 2 * number >= np.count_nonzero(others))

    def _at_s(self, track_index: int, hop: int, m: Measurement) -> float | None:
        """When that hop holds a pop, s; None where it does not."""
        lead = self._tail.shape[1]
        x = np.concatenate([self._tail[track_index], m.samples[:, track_index]])
        step = np.abs(np.diff(x))
        frames = len(m.samples) // len(m.valid)
        begin = lead + hop * frames
        hop_steps = step[begin - 1 : begin + frames - 1]
        # The first of those that stand out: it closes again with another one.
        at = begin - 1 + int((hop_steps >= 0.4 * hop_steps.max()).argmax())
        guard = round(GUARD_S * self._rate_hz)
        before = slice(max(at - lead, 0), max(at - guard, 1))
        deviation = float(np.sqrt(np.mean(np.square(step[before]))))
        if not is_outlier(x, at, before, self._outlier, self._least[track_index]):
            return None
        early, late = (round(seconds * self._rate_hz) for seconds in ROUND_S)
        around = np.square(step[max(at - early, 0) : at + late])
        own = np.square(step[max(at - self._width, 0) : at + self._width + 1])
        peak = np.abs(x[at : at + 2 * late]).max()
        share = own.sum() / around.sum()
        sudden = step[at] >= SUDDEN * self._outlier * deviation and share >= SUDDEN_SHARE
        if share < self._share:
            return None
        if not sudden and peak < self._over_peaks * np.abs(x[before]).max():
            return None
        if not stays(x, at, float(median(x[before])), self._rate_hz):
            return None
        at_s = float(m.start_s + (at + 1 - lead) / self._rate_hz)
        if keeps_time(step, at, self._rate_hz):
            self._phone_s[track_index].append(at_s)
        return at_s

    def _count(self, track_index: int, at_s: float) -> None:
        pops = self._pops[track_index]
        while pops and at_s - pops[0] > BURST_GAP_S:
            pops.popleft()
        if pops and at_s - pops[-1] < APART_S:
            return
        if not pops:
            self._first_s[track_index] = at_s
        pops.append(at_s)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        pops, phone_s = self._pops[track_index], self._phone_s[track_index]
        if 2 * sum(at_s in phone_s for at_s in pops) >= len(pops):
            return f"{len(pops)} bursts at 217 Hz in 10 s, as of a phone near the pack or its cable"
        return f"{len(pops)} pops in 10 s, as of a contact that opens"
