"""Clipped: flat tops at full scale or at any lower ceiling, on one side or both.

Evidence (CONTRACT.md): three flat runs of 3 or more samples within 100 ms, or one of 8 or more, at
one ceiling which nothing near by exceeds. It goes on when 3 or more of the last 10 seconds hold
flat tops; a true peak above full scale without flat tops is no fault. What makes a top flat: see
`flat_tops`.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, unknown
from engine.detectors.flat_tops import LEANING_SAMPLES, LOWEST_CEILING, flat_tops
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement, Samples
from engine.model.number_text import number
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import amplitude_db

SAME_CEILING: Final = 0.01
"""Two level runs stand at one ceiling, and nothing exceeds it, within this share of its height."""
SAME_LEANING: Final = 0.25
"""The same for runs that a high-pass made lean: it also shifts the whole wave."""
SAME_SHORT: Final = 0.02
"""The same for short ones that lean: a voice has such tops, too, but not many of one height."""
WINDOW_S: Final = 10
"""The last seconds of which some hold flat tops (CONTRACT.md)."""
_TAIL_S: Final = 0.01
"""Kept from the tick before, so that a run across the seam is seen whole."""
_PEAK_TICKS: Final = 10


@dataclass(frozen=True, slots=True)
class _Run:
    """One flat run: where it begins, s, its samples, its signed ceiling, and whether level."""

    at_s: float
    length: int
    ceiling: float
    level: bool

    @property
    def short(self) -> bool:
        """It leans, over a few samples only."""
        return not self.level and self.length < LEANING_SAMPLES

    def alike(self, other: _Run) -> bool:
        """Both stand at one ceiling."""
        share = SAME_CEILING if self.level and other.level else SAME_LEANING
        share = SAME_SHORT if self.short or other.short else share
        return abs(abs(self.ceiling) - abs(other.ceiling)) <= share * abs(self.ceiling)


@dataclass(slots=True)
class _Seen:
    """What one track showed: recent flat runs, and (second, tops) of those that clipped."""

    runs: list[_Run] = field(default_factory=list)
    seconds: deque[tuple[int, int]] = field(default_factory=deque)
    ceiling: float = 0.0
    onset_s: float = np.nan
    last_s: float = np.nan

    def count(self, second: int, tops: int) -> None:
        """Add flat tops to those of that second."""
        if self.seconds and self.seconds[-1][0] == second:
            tops += self.seconds.pop()[1]
        self.seconds.append((second, tops))

    def forget(self, now_s: float) -> None:
        """Drop the seconds that ended more than ten ago."""
        while self.seconds and self.seconds[0][0] + 1 <= now_s - WINDOW_S:
            self.seconds.popleft()


class Clipped(TrackMemory):
    """Looks for flat tops where a track is about as loud as it was within the last second."""

    NEEDS_SAMPLES: ClassVar = True

    _seen: list[_Seen] = each_track(_Seen)
    _tail: Samples = remembered(
        By.FIRST,
        lambda d: np.zeros((d._tracks, round(_TAIL_S * d._rate_hz)), dtype=np.float32),
    )
    _peaks: Levels = per_track(0.0, rows=_PEAK_TICKS)
    _tick: int = remembered(By.WHOLE, 0)

    def __init__(
        self,
        scene: Scene,
        *,
        runs_near: int = 3,
        near_s: float = 0.1,
        long_run: int = 8,
        short_runs_near: int = 4,
        goes_on_seconds: int = 3,
        loud_share: float = 0.8,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        runs_near : int
            Flat runs at one ceiling within `near_s` that prove an overload
            (CONTRACT.md).
        near_s : float
            s. How near they lie to each other (CONTRACT.md).
        long_run : int
            Samples. One level run this long proves it (CONTRACT.md); of leaning ones
            it takes two.
        short_runs_near : int
            Short leaning runs that prove it: a voice has such tops, too, but not many
            of one height.
        goes_on_seconds : int
            Of the last ten, so many with flat tops are an overload that goes on
            (CONTRACT.md).
        loud_share : float
            A ceiling is reached where a track is about as loud as it was within the
            last second.
        """
        self._runs_near = runs_near
        self._near_s = near_s
        self._long_run = long_run
        self._short_runs_near = short_runs_near
        self._goes_on_seconds = goes_on_seconds
        self._loud_share = loud_share
        self._watched = scene.watched(Fault.CLIPPED)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where this tick holds the evidence."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        peak = m.peak.max(axis=0)
        self._peaks[self._tick % _PEAK_TICKS] = peak
        self._tick += 1
        loud = (peak >= LOWEST_CEILING) & (peak >= self._loud_share * self._peaks.max(axis=0))
        for repeat in m.repeats:  # its tops come again and again at one height
            loud[repeat.track_index] = False
        active = np.zeros(self._tracks, dtype=np.bool_)
        track_indices = np.flatnonzero(loud & self._watched)
        if len(track_indices):
            self._look(track_indices, m, active)
        self._tail = m.samples[-self._tail.shape[1] :].T
        for seen in self._seen:
            seen.forget(m.end_s)
        return condition(
            active,
            m.any_valid & self._watched,
            np.array([seen.onset_s for seen in self._seen]),
            np.array([seen.last_s for seen in self._seen]),
            np.array([len(seen.seconds) >= self._goes_on_seconds for seen in self._seen]),
        )

    def _look(self, track_indices: NDArray[np.int64], m: Measurement, active: Flags) -> None:
        """Find the flat tops of those tracks, and set `active` where they prove an overload."""
        x = np.concatenate([self._tail[track_indices], m.samples.T[track_indices]], axis=1)
        found = flat_tops(x, self._rate_hz)
        if not len(found.row):
            return
        high, low = x.max(axis=1), -x.min(axis=1)
        base_s = m.start_s - self._tail.shape[1] / self._rate_hz
        fields = (found.row, found.start, found.length, found.ceiling, found.level)
        for row, start, length, ceiling, level in zip(*(f.tolist() for f in fields), strict=True):
            runs = self._seen[track_indices[row]].runs
            run = _Run(base_s + start / self._rate_hz, length, ceiling, level)
            newest_s = runs[-1].at_s if runs else -np.inf
            share = SAME_CEILING if level else SAME_LEANING
            exceeded = (high if ceiling > 0 else low)[row] > abs(ceiling) * (1.0 + share)
            if run.at_s > newest_s + 0.5 / self._rate_hz and not exceeded:
                runs.append(run)
        for row in np.unique(found.row):
            track_index = int(track_indices[row])
            active[track_index] = self._evidence(self._seen[track_index], m)

    def _evidence(self, seen: _Seen, m: Measurement) -> bool:
        """Whether runs that begin in this tick prove an overload; keeps what the crew is told."""
        since_s = m.start_s - _TAIL_S
        seen.runs = [run for run in seen.runs if run.at_s > since_s - self._near_s]
        proof: set[_Run] = set()
        for run in seen.runs:
            if run.at_s < since_s:
                continue
            near = [
                r for r in seen.runs if 0.0 <= run.at_s - r.at_s <= self._near_s and run.alike(r)
            ]
            reach = SAME_CEILING * abs(run.ceiling)
            long = sum(
                r.length >= self._long_run and abs(r.ceiling - run.ceiling) <= reach for r in near
            )
            enough = self._short_runs_near if sum(r.short for r in near) > 1 else self._runs_near
            if (run.level and run.length >= self._long_run) or long >= 2 or len(near) >= enough:
                proof.update(near)
        if not proof:
            return False
        seen.onset_s = min(run.at_s for run in proof)
        seen.last_s = max(max(run.at_s for run in proof), m.start_s) + 1.0 / self._rate_hz
        seen.ceiling = max(abs(run.ceiling) for run in proof)
        seen.count(int(seen.last_s), sum(run.at_s >= since_s for run in proof))
        return True

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        seen = self._seen[track_index]
        tops = sum(number for _, number in seen.seconds)
        ceiling_dbfs = number(float(amplitude_db(seen.ceiling)), digits=1)
        return f"{tops} flat top{'s' * (tops != 1)} in 10 s, ceiling {ceiling_dbfs} dBFS"
