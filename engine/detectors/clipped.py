"""Clipped: flat tops at full scale or at any lower ceiling, on one side or both.

Evidence (contract): three flat runs of 3 or more samples within 100 ms, or one of 8 or more, at
one ceiling which nothing near by exceeds. It goes on when 3 or more of the last 10 seconds hold
flat tops; a true peak above full scale without flat tops is no fault.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from engine.detectors.base import Feed, condition, unknown
from engine.detectors.flat_tops import LOWEST_CEILING, flat_tops
from engine.model import Condition, Fault, Flags, Measurement
from engine.tracks import Scene
from engine.units import amplitude_db

NEAR_S: Final = 0.1
RUNS_NEAR: Final = 3
LONG_RUN: Final = 8
SAME_CEILING: Final = 0.01
"""Two runs stand at one ceiling, and nothing exceeds it, within this share of its height."""
GOES_ON_SECONDS: Final = 3
WINDOW_S: Final = 10
_TAIL_S: Final = 0.005
"""Kept from the tick before, so that a run across the seam is seen whole."""


@dataclass(slots=True)
class _Seen:
    """What one track showed: recent flat runs (time s, samples, ceiling) and clipped seconds."""

    runs: list[tuple[float, int, float]] = field(default_factory=list)
    seconds: list[int] = field(default_factory=list)
    tops: int = 0
    ceiling: float = 0.0
    onset_s: float = np.nan
    last_s: float = np.nan


class Clipped:
    """Looks for flat tops where a track is loud enough to have any."""

    def __init__(self, scene: Scene) -> None:
        self._watched = scene.watched(Fault.CLIPPED)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self.reset()

    def reset(self) -> None:
        """Forget the sound, keep the scene."""
        self._seen = [_Seen() for _ in range(self._tracks)]
        self._tail = np.zeros((round(_TAIL_S * self._rate_hz), self._tracks), dtype=np.float32)

    def update(self, measurement: Measurement | None, feed: Feed) -> Condition:
        """Active where this tick holds the evidence."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        loud = np.maximum(m.peak_max, -m.peak_min).max(axis=0) >= LOWEST_CEILING
        active = np.zeros(self._tracks, dtype=np.bool_)
        for place in np.flatnonzero(loud & self._watched & self._may_be_flat(m)):
            active[place] = self._look(int(place), m)
        self._tail = m.samples[-len(self._tail) :]
        onset_s = np.array([seen.onset_s for seen in self._seen])
        last_s = np.array([seen.last_s for seen in self._seen])
        return condition(
            active, m.valid.any(axis=0) & self._watched, onset_s, last_s, self._goes_on(m.end_s)
        )

    def _may_be_flat(self, m: Measurement) -> Flags:
        """Where two neighbours near a hop's peak are all but equal: worth a closer look."""
        hops, tracks = m.valid.shape
        x = m.samples.T.reshape(tracks, hops, -1)
        peak = np.maximum(m.peak_max, -m.peak_min).T[:, :, None]
        high = np.abs(x[:, :, 1:]) >= 0.98 * peak
        level = np.abs(x[:, :, 1:] - x[:, :, :-1]) <= 2e-3 * peak
        return np.asarray((high & level).any(axis=(1, 2)))

    def _look(self, place: int, m: Measurement) -> bool:
        seen = self._seen[place]
        x = np.concatenate([self._tail[:, place], m.samples[:, place]])
        found = flat_tops(x)
        base_s = m.start_s - len(self._tail) / self._rate_hz
        newest_s = seen.runs[-1][0] if seen.runs else -np.inf
        peaks = (float(x.max()), float(-x.min()))
        for start, length, ceiling in zip(found.start, found.length, found.ceiling, strict=True):
            at_s = base_s + float(start) / self._rate_hz
            exceeded = peaks[0 if ceiling > 0 else 1] > abs(ceiling) * (1.0 + SAME_CEILING)
            if at_s > newest_s + 0.5 / self._rate_hz and not exceeded:
                seen.runs.append((at_s, int(length), float(ceiling)))
        seen.runs = [run for run in seen.runs if run[0] > m.end_s - NEAR_S - (m.end_s - m.start_s)]
        return bool(seen.runs) and self._evidence(seen, m)

    def _evidence(self, seen: _Seen, m: Measurement) -> bool:
        """Whether runs that end in this tick prove an overload; keeps what the crew is told."""
        at_s, length, ceiling = (np.array(column) for column in zip(*seen.runs, strict=True))
        height = np.abs(ceiling)
        since_s = at_s[:, None] - at_s[None, :]
        alike = (since_s >= 0.0) & (since_s <= NEAR_S)
        alike &= np.abs(height[:, None] - height[None, :]) <= SAME_CEILING * height[:, None]
        proves = (at_s >= m.start_s - _TAIL_S) & (
            (length >= LONG_RUN) | (alike.sum(axis=1) >= RUNS_NEAR)
        )
        if not proves.any():
            return False
        proof = alike[proves].any(axis=0)
        begins_s, ends_s = float(at_s[proof].min()), float(at_s[proof].max())
        if np.isnan(seen.last_s) or begins_s > seen.last_s + WINDOW_S:
            seen.seconds, seen.tops = [], 0
        seen.onset_s, seen.last_s = begins_s, max(ends_s, m.start_s) + 1.0 / self._rate_hz
        seen.ceiling = float(height[proof].max())
        seen.tops += int(np.count_nonzero(proof & (at_s >= m.start_s - _TAIL_S)))
        second = int(ends_s)
        if second not in seen.seconds:
            seen.seconds.append(second)
        return True

    def _goes_on(self, now_s: float) -> Flags:
        result = np.zeros(self._tracks, dtype=np.bool_)
        for place, seen in enumerate(self._seen):
            if seen.seconds:
                seen.seconds = [s for s in seen.seconds if s > now_s - WINDOW_S - 1]
                result[place] = len(seen.seconds) >= GOES_ON_SECONDS
        return result

    def detail(self, place: int) -> str:
        """What was seen, one line."""
        seen = self._seen[place]
        ceiling_dbfs = float(amplitude_db(seen.ceiling))
        return f"{seen.tops} flat tops, ceiling {ceiling_dbfs:.1f} dBFS".replace("-", "−")
