"""Clock: the interface and what feeds it do not run on one clock: frames are lost or doubled.

Model: two clocks that are not locked drift apart until a buffer runs over or empty; then frames are
dropped or played twice, on every input between the same two samples. Sound reaches no two mics in
the same sample, and an electrical spike comes back within a few; a slip is a step that does
neither. So the steps from sample to sample, each over its track's own deviation, are averaged over
tracks of different performers at each sample: of six Gaussian tracks that mean is 0.8 and its
deviation 0.25, and it passes 2.6 by chance once an hour, three times in ten seconds once in ten
years (sums of half-normal variables, convolved). Numbers beyond that: common practice, no source.
"""

from __future__ import annotations

from collections import deque
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition
from engine.measure.first_difference import difference_lag
from engine.model.messages import Condition, Kind, Measurement, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

MOST_TRACKS: Final = 6
"""So many tracks prove it as well as all, at a fraction of the work."""
LEAST_TRACKS: Final = 4
FEWER: Final = 0.2
"""The limit rises by this with each track less, so that chance passes it about as seldom."""
CAP: Final = 6.0
"""One track speaks for this many deviations at most."""
NEAR: Final = 4
"""Samples on each side of a step that tell a spike from it."""
WINDOW_S: Final = 10.0
"""Slips this near belong together, s (CONTRACT.md)."""


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
        outlier: float = 2.6,
        most: float = 2.0,
        stays: float = 0.5,
        slips: int = 3,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        outlier : float
            Least mean step of all tracks, each over its own deviation.
        most : float
            Half of the tracks reach this.
        stays : float
            Least net step against the sum of all steps beside it; a spike comes back.
        slips : int
            So many within ten seconds are a fault (CONTRACT.md).
        """
        self._outlier, self._most, self._stays, self._enough = outlier, most, stays, slips
        self._rate_hz = scene.sample_rate_hz
        self._lag = difference_lag(scene.sample_rate_hz)
        self._candidates = _one_a_performer(scene)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active in the tick of a slip, from the third within ten seconds on."""
        active = False
        if measurement is not None:
            for at_s in self._slips(measurement):
                self._count(at_s)
                active = len(self._slips_s) >= self._enough
        last_s = self._slips_s[-1] if self._slips_s else np.nan
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
        before, self._before = self._before, m.samples.T[self._candidates, -2 * NEAR :]
        if before is None or m.repeats or not m.all_valid:
            return []
        chosen = self._candidates
        usable = (m.present & (m.difference_energy.min(axis=0) > 0.0))[chosen]
        rows = np.flatnonzero(usable)[:MOST_TRACKS]
        if len(rows) < LEAST_TRACKS:
            return []
        x = np.concatenate([before[rows], m.samples.T[chosen[rows]]], axis=1)
        step = x[:, 1:] - x[:, :-1]
        energy = m.difference_energy.T[chosen[rows]] / np.float32(self._lag)
        weight = np.repeat(1.0 / np.sqrt(energy), len(m.samples) // len(m.valid), axis=1)
        lead = step.shape[1] - weight.shape[1]
        size = np.abs(step[:, lead:])
        size *= weight
        mean = np.minimum(size, CAP).mean(axis=0)
        outlier = self._outlier + FEWER * (MOST_TRACKS - len(rows))
        slips: list[float] = []
        for at in np.flatnonzero(mean >= outlier).tolist():
            at_s = m.start_s + at / self._rate_hz
            if slips and at_s - slips[-1] < 0.01:
                continue
            if self._is_slip(x, step, size[:, at], lead + at):
                slips.append(at_s)
        return slips

    def _is_slip(self, x: Samples, step: Samples, size: NDArray[np.float32], at: int) -> bool:
        """Whether the step at that sample stays, and live sound lies on both sides of it."""
        if np.median(size) < self._most:
            return False
        near = step[:, max(at - NEAR, 0) : at + NEAR + 1]
        near = np.where(np.abs(near) >= 0.25 * np.abs(near).max(axis=1, keepdims=True), near, 0.0)
        net = np.abs(near.sum(axis=1)) / np.maximum(np.abs(near).sum(axis=1), 1e-12)
        before, after = x[:, max(at - NEAR, 0) : at + 1], x[:, at + 1 : at + 2 + NEAR]
        live = (np.ptp(before, axis=1) > 0.0) & (np.ptp(after, axis=1) > 0.0)
        return bool(np.median(net) >= self._stays and live.mean() > 0.5)

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
