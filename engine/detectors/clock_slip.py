"""Clock: the interface and what feeds it do not run on one clock: frames are lost or doubled.

Model: two clocks that are not locked drift apart until a buffer runs over or empty; then frames are
dropped or played twice, on every input between the same two samples. Sound reaches no two mics in
the same sample, and an electrical spike comes back within a few; a slip is a step that does
neither. So at one sample most tracks of different performers step by far more than they do: so many
that chance, by the binomial distribution, hardly ever does it. With fewer than five performers
nothing is said. Numbers: common practice, no source.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition
from engine.measure.first_difference import difference_lag
from engine.model.messages import Condition, Kind, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

FIRST_TRACKS: Final = 6
"""So many tracks are looked at for a suspicion, which spares most of the work."""
LEAST_TRACKS: Final = 5
CAP: Final = 6.0
"""One track speaks for this many deviations at most."""
NEAR: Final = 4
"""Samples on each side of a step that tell a spike from it."""
WINDOW_S: Final = 10.0
"""Slips this near belong together, s (CONTRACT.md)."""
GOES_ON_S: Final = 2.0
"""Slips that go on come again within this, s: of two one may go unheard in a pause."""


class Clock(TrackMemory):
    """Looks for steps that come on every input between the same two samples."""

    NEEDS_SAMPLES: ClassVar = True

    _slips_s: deque[float] = remembered(By.WHOLE, lambda _: deque())
    _onset_s: float = remembered(By.WHOLE, float("nan"))
    _before: Samples | None = remembered(By.ANEW, None)

    def __init__(
        self,
        scene: Scene,
        *,
        suspect: float = 2.0,
        outlier: float = 2.6,
        tail: float = 0.02,
        chance: float = 2e-8,
        stays: float = 0.5,
        slips: int = 3,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        suspect : float
            Mean step of the first few tracks, each over its own deviation, at which all are asked.
        outlier : float
            A track steps where its step is so many times its deviation.
        tail : float
            Chance of such a step on live sound: 0.0093 on a Gaussian track, and real ones have
            longer tails (ours, from false steps a second on takes of speech).
        chance : float
            So many tracks must step that all of it has less than this chance (binomial
            distribution): once in 17 minutes, and three times in ten seconds once in a year.
        stays : float
            Least net step against the sum of all steps beside it; a spike comes back.
        slips : int
            So many within ten seconds are a fault (CONTRACT.md).
        """
        self._suspect, self._outlier = suspect, outlier
        self._tail, self._chance = tail, chance
        self._stays, self._enough = stays, slips
        self._rate_hz = scene.sample_rate_hz
        self._lag = difference_lag(scene.sample_rate_hz)
        self._candidates = _one_a_performer(scene)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active from the third slip within ten seconds on, and while the newest is near."""
        active = False
        last_s = self._slips_s[-1] if self._slips_s else np.nan
        if measurement is not None:
            for at_s in self._slips(measurement):
                self._count(at_s)
                last_s = at_s
            enough = len(self._slips_s) >= self._enough
            active = enough and measurement.end_s - last_s <= GOES_ON_S
        known = measurement is not None
        return condition(
            np.array([active]),
            np.array([known]),
            np.array([self._onset_s]),
            np.array([max(last_s, self._onset_s)]),
        )

    def _count(self, at_s: float) -> None:
        while self._slips_s and at_s - self._slips_s[0] > WINDOW_S:
            self._slips_s.popleft()
        if not self._slips_s:
            self._onset_s = at_s
        self._slips_s.append(at_s)

    def _slips(self, m: Measurement) -> list[float]:
        """When all tracks stepped at once in this tick, s."""
        chosen = self._candidates
        before, self._before = self._before, m.samples.T[chosen, -2 * NEAR :]
        if before is None or m.repeats or not m.all_valid:
            return []
        usable = (m.present & (m.difference_energy.min(axis=0) > 0.0))[chosen]
        rows = np.flatnonzero(usable)
        if len(rows) < LEAST_TRACKS:
            return []
        first = rows[:FIRST_TRACKS]
        slips: list[float] = []
        for at in np.flatnonzero(self._sizes(m, before, first) >= self._suspect).tolist():
            at_s = m.start_s + at / self._rate_hz
            if (not slips or at_s - slips[-1] >= 0.01) and self._is_slip(m, before, rows, at):
                slips.append(at_s)
        return slips

    def _sizes(self, m: Measurement, before: Samples, rows: NDArray[np.int64]) -> Levels:
        """Mean over those tracks of each step, over the deviation of its hop; (frames,)."""
        x = m.samples.T[self._candidates[rows]]
        step = np.empty_like(x)
        np.subtract(x[:, 1:], x[:, :-1], out=step[:, 1:])
        step[:, 0] = x[:, 0] - before[rows, -1]
        np.abs(step, out=step)
        energy = m.difference_energy.T[self._candidates[rows]] / np.float32(self._lag)
        by_hop = step.reshape(len(rows), len(m.valid), -1)
        by_hop *= (1.0 / np.sqrt(energy))[:, :, None]
        return np.asarray(np.minimum(step, CAP, out=step).mean(axis=0))

    def _is_slip(self, m: Measurement, before: Samples, rows: NDArray[np.int64], at: int) -> bool:
        """Whether nearly all tracks step there, stay there, and are live on both sides."""
        chosen = self._candidates[rows]
        hop = min(at * len(m.valid) // len(m.samples), len(m.valid) - 1)
        lead = before.shape[1]
        if at < 2 * lead:
            x = np.concatenate([before[rows], m.samples.T[chosen, : at + 2 * NEAR]], axis=1)
            at += lead - 1
        else:  # what lies further back is not looked at
            x = m.samples.T[chosen, at - 2 * lead : at + 2 * NEAR]
            at = 2 * lead - 1
        step = x[:, 1:] - x[:, :-1]
        size = np.abs(step[:, at]) / np.sqrt(m.difference_energy[hop, chosen] / self._lag)
        # Two inputs that carry one signal speak once.
        classes = np.round(np.log(np.maximum(size, 1e-3)) / np.log(1.02))
        own = np.unique(classes, return_index=True)[1]
        if np.count_nonzero(size[own] >= self._outlier) < self._least_of(len(own)):
            return False
        near = step[:, max(at - NEAR, 0) : at + NEAR + 1]
        near = np.where(np.abs(near) >= 0.25 * np.abs(near).max(axis=1, keepdims=True), near, 0.0)
        net = np.abs(near.sum(axis=1)) / np.maximum(np.abs(near).sum(axis=1), 1e-12)
        live = np.ptp(x[:, max(at - NEAR, 0) : at + 1], axis=1) > 0.0
        live &= np.ptp(x[:, at + 1 : at + 2 + NEAR], axis=1) > 0.0
        return bool(np.median(net) >= self._stays and live.mean() > 0.5)

    def _least_of(self, tracks: int) -> int:
        """How many of so many tracks step at once by chance less often than `chance`."""
        for least in range(LEAST_TRACKS, tracks + 1):
            if math.comb(tracks, least) * self._tail**least < self._chance:
                return least
        return tracks + 1

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        del track_index
        return f"all inputs jumped at one sample, {len(self._slips_s)} times in 10 s"


def _one_a_performer(scene: Scene) -> NDArray[np.int64]:
    """One track of each performer, and all that have none: two packs hear one voice."""
    known: set[str] = set()
    chosen: list[int] = []
    for track_index in np.flatnonzero(scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)).tolist():
        who = scene.tracks[track_index].who
        if not who or who not in known:
            chosen.append(track_index)
            known.add(who)
    return np.array(chosen, dtype=np.int64)
