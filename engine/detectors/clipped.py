"""Clipped: flat tops at full scale or at any lower ceiling, on one side or both.

Evidence (CONTRACT.md): three level runs of 3 or more samples within 100 ms, or one of 8 or more, at
one ceiling which nothing near by exceeds; or, where a capacitor, a low-pass or a resampler followed
the overload, three cut tops within half a second, or two long ones within 100 ms. A voice has such
tops too, but round ones as high beside them. It goes on when 3 or more of the last 10 seconds hold
flat tops; a true peak above full scale without flat tops is no fault. What makes a top flat: see
`flat_tops` and `cut_tops`. An overload without any is told by the crest it takes (`soft_knee`).
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, field
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.cut_tops import CROSSED, LOWEST_CEILING, tops_near_peak
from engine.detectors.flat_tops import flat_tops
from engine.detectors.soft_knee import SoftKnee
from engine.measure.first_difference import difference_lag
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement, Samples
from engine.model.number_text import number
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import amplitude_db

SAME_CEILING: Final = 0.01
"""Level runs stand at one ceiling, and nothing exceeds it, within this share of its height."""
SAME_CUT: Final = 0.05
"""The same for cut tops: what follows the overload shifts them against each other a little."""
ROUND_AT: Final = 0.985
"""A round top this near to the ceiling, or higher, speaks against it."""
HELD: Final = 12
"""Cut tops that prove an overload hold the wave for so many samples in all, the first two of each
left out: what looks cut by chance is short, each sample more as unlikely as the one before (of
three in voices with breath 5 and 8, of those that an overload cut 13 and more in 98 %; ours)."""
BY_CHANCE: Final = 0.25
"""And so many more for each round top beside them: of many tops that hold no ceiling some look cut
as well, a tenth of a sample each (ours, measured on voices with breath)."""
OFFSET_SHARE: Final = 0.5
"""Where the mean of a tick is more of its peak, the sound is small beside it: that is a DC offset,
and near the peak lies all of the sound."""
WINDOW_S: Final = 10
"""The last seconds of which some hold flat tops (CONTRACT.md)."""
_TAIL_S: Final = 0.01
"""Kept from the tick before, so that a run across the seam is seen whole."""
_PEAK_TICKS: Final = 10
_ROUND_KEPT: Final = 20
"""Round tops of each side that are kept of a tick without a flat one: three flat ones are a proof,
so as many more speak against it."""


class _Top(NamedTuple):
    """One top: where it begins, s, its flat samples, its signed ceiling.

    level : a run of samples that do not move; cut : flat between two corners; neither: round
    sharpness : of its corners, as in `cut_tops`; a level run leaves its ceiling at once
    """

    at_s: float
    length: int
    ceiling: float
    level: bool
    cut: bool
    sharpness: float = 1.0

    def alike(self, other: _Top) -> bool:
        """Both stand at one ceiling."""
        share = SAME_CEILING if self.level and other.level else SAME_CUT
        return abs(abs(self.ceiling) - abs(other.ceiling)) <= share * abs(self.ceiling)


@dataclass(slots=True)
class _Seen:
    """What one track showed: recent tops, and (second, tops) of those that clipped."""

    tops: list[_Top] = field(default_factory=list)
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
    _highest: Levels = per_track(0.0, rows=_PEAK_TICKS)
    _lowest: Levels = per_track(0.0, rows=_PEAK_TICKS)
    _offset: Levels = per_track(0.0)
    _tick: int = remembered(By.WHOLE, 0)
    _knee: SoftKnee = remembered(By.PART, lambda d: SoftKnee(d._scene))

    def __init__(
        self,
        scene: Scene,
        *,
        enough: int = 3,
        near_s: float = 0.1,
        cut_near_s: float = 0.5,
        long_run: int = 8,
        goes_on_seconds: int = 3,
        loud_share: float = 0.8,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        enough : int
            Flat tops at one ceiling that prove an overload (CONTRACT.md).
        near_s, cut_near_s : float
            s. How near they lie to each other, level ones and cut ones (CONTRACT.md).
        long_run : int
            Samples. One level run this long proves it (CONTRACT.md); of cut ones it takes two.
        goes_on_seconds : int
            Of the last ten, so many with flat tops are an overload that goes on
            (CONTRACT.md).
        loud_share : float
            A ceiling is reached where a track is about as loud as it was within the
            last second.
        """
        self._enough = enough
        self._near_s, self._cut_near_s = near_s, cut_near_s
        self._long_run = long_run
        self._goes_on_seconds = goes_on_seconds
        self._loud_share = loud_share
        self._scene = scene
        self._watched = scene.watched(Fault.CLIPPED)
        self._rate_hz = scene.sample_rate_hz
        self._lag = difference_lag(self._rate_hz)
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where this tick holds the evidence."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        peak = m.peak.max(axis=0)
        self._highest[self._tick % _PEAK_TICKS] = m.peak_max.max(axis=0)
        self._lowest[self._tick % _PEAK_TICKS] = m.peak_min.min(axis=0)
        self._tick += 1
        lately = np.maximum(self._highest.max(axis=0), -self._lowest.min(axis=0))
        loud = (peak >= LOWEST_CEILING) & (peak >= self._loud_share * lately)
        offset = np.abs(m.dc_offset)
        loud &= np.maximum(offset, self._offset) < OFFSET_SHARE * peak
        self._offset = offset
        for repeat in m.repeats:  # its tops come again and again at one height
            loud[repeat.track_index] = False
        active = np.zeros(self._tracks, dtype=np.bool_)
        track_indices = indices(loud & self._watched)
        if len(track_indices):
            self._look(track_indices, m, active)
        self._tail = m.samples[-self._tail.shape[1] :].T
        for seen in self._seen:
            if seen.seconds:
                seen.forget(m.end_s)
        soft = self._knee.update(m) & ~active & self._watched
        if not any_of(active | soft):
            return quiet(m.any_valid & self._watched)
        onset_s = np.array([seen.onset_s for seen in self._seen])
        last_s = np.array([seen.last_s for seen in self._seen])
        goes_on = np.array([len(seen.seconds) >= self._goes_on_seconds for seen in self._seen])
        return condition(
            active | soft,
            m.any_valid & self._watched,
            np.where(soft, self._knee.since_s, onset_s),
            np.where(soft, m.end_s, last_s),
            goes_on,
        )

    def _look(self, track_indices: NDArray[np.int64], m: Measurement, active: Flags) -> None:
        """Find the flat tops of those tracks, and set `active` where they prove an overload."""
        x = np.concatenate([self._tail[track_indices], m.samples.T[track_indices]], axis=1)
        base_s = m.start_s - self._tail.shape[1] / self._rate_hz
        tops = self._level_tops(x, base_s)
        self._add_cut_tops(tops, x, base_s, track_indices)
        for row, found in tops.items():
            track_index = int(track_indices[row])
            seen = self._seen[track_index]
            newest_s = seen.tops[-1].at_s if seen.tops else -np.inf
            found.sort(key=lambda top: top.at_s)
            seen.tops += [top for top in found if top.at_s > newest_s + 0.5 / self._rate_hz]
            active[track_index] = self._evidence(track_index, m)

    def _level_tops(self, x: Samples, base_s: float) -> dict[int, list[_Top]]:
        """Level runs that nothing in their row exceeds, by row."""
        tops: dict[int, list[_Top]] = {}
        level = flat_tops(x)
        high, low = x.max(axis=1), -x.min(axis=1)
        fields = (level.row, level.start, level.length, level.ceiling)
        for row, start, length, ceiling in zip(*(f.tolist() for f in fields), strict=True):
            if (high if ceiling > 0 else low)[row] <= abs(ceiling) * (1.0 + SAME_CEILING):
                top = _Top(base_s + start / self._rate_hz, length, ceiling, level=True, cut=True)
                tops.setdefault(row, []).append(top)
        return tops

    def _add_cut_tops(
        self,
        tops: dict[int, list[_Top]],
        x: Samples,
        base_s: float,
        track_indices: NDArray[np.int64],
    ) -> None:
        """Add the other tops near the peak, where a side is as high as in the last second."""
        high, low = self._highest[:, track_indices], self._lowest[:, track_indices]
        newest = (self._tick - 1) % _PEAK_TICKS
        as_high = indices(high[newest] * (1.0 + SAME_CUT) >= high.max(axis=0))
        as_low = indices(low[newest] * (1.0 + SAME_CUT) <= low.min(axis=0))
        rows = np.concatenate([as_high, as_low])
        near = tops_near_peak(np.concatenate([x[as_high], -x[as_low]]), self._rate_hz)
        signs = np.where(near.row < len(as_high), 1.0, -1.0)
        level_s = {row: sorted(top.at_s for top in found) for row, found in tops.items()}
        # Where nothing is flat, some round tops speak for all: a tone has hundreds a tick.
        flat = np.zeros(len(track_indices), dtype=np.bool_)
        flat[[*rows[near.row[near.cut]].tolist(), *tops]] = True
        to_end = np.searchsorted(near.row, near.row, side="right") - np.arange(len(near.row))
        keep = flat[rows[near.row]] | (to_end <= _ROUND_KEPT)
        fields = (
            rows[near.row][keep],
            base_s + (near.start[keep] - 1) / self._rate_hz,
            base_s + near.start[keep] / self._rate_hz,
            base_s + (near.start + near.length)[keep] / self._rate_hz,
            near.length[keep],
            (signs * near.ceiling)[keep],
            near.cut[keep],
            near.sharpness[keep],
        )
        for row, begin_s, at_s, end_s, length, ceiling, cut, sharpness in zip(
            *(column.tolist() for column in fields), strict=True
        ):
            known_s = level_s.get(row, [])
            first = bisect_left(known_s, begin_s)
            if first == len(known_s) or known_s[first] > end_s:
                top = _Top(at_s, length, ceiling, False, cut, sharpness)
                tops.setdefault(row, []).append(top)

    def _evidence(self, track_index: int, m: Measurement) -> bool:
        """Whether tops that begin in this tick prove an overload; keeps what the crew is told."""
        seen, since_s = self._seen[track_index], m.start_s - _TAIL_S
        seen.tops = [top for top in seen.tops if top.at_s > since_s - self._cut_near_s]
        proof: set[_Top] = set()
        for newest, top in enumerate(seen.tops):
            if top.cut and top.at_s >= since_s:
                before = seen.tops[: newest + 1]
                proof.update(
                    self._level_proof(top, before) or self._cut_proof(top, before, track_index)
                )
        if not proof:
            return False
        seen.onset_s = min(top.at_s for top in proof)
        seen.last_s = max(max(top.at_s for top in proof), m.start_s) + 1.0 / self._rate_hz
        seen.ceiling = max(abs(top.ceiling) for top in proof)
        seen.count(int(seen.last_s), sum(top.at_s >= since_s for top in proof))
        return True

    def _level_proof(self, top: _Top, before: list[_Top]) -> list[_Top]:
        """The level runs up to this one that prove an overload, if they do."""
        if not top.level:
            return []
        near = [
            one
            for one in before
            if one.level and top.at_s - one.at_s <= self._near_s and top.alike(one)
        ]
        enough = len(near) >= self._enough or top.length >= self._long_run
        return near if enough else []

    def _cut_proof(self, top: _Top, before: list[_Top], track_index: int) -> list[_Top]:
        """The cut tops up to this one that prove an overload, if they do."""
        ceiling = abs(top.ceiling)
        peaks = self._highest if top.ceiling > 0.0 else -self._lowest
        if peaks[:, track_index].max() > (1.0 + SAME_CUT) * ceiling:
            return []
        alike = [one for one in before if top.alike(one)]
        flat = [one for one in alike if one.cut]
        long = [
            one
            for one in flat
            if one.length >= self._long_run
            and top.at_s - one.at_s <= self._near_s
            and abs(abs(one.ceiling) - ceiling) <= SAME_CEILING * ceiling
        ]
        if len(long) >= 2 and _crosses(long):
            return long
        held = sum(one.length - 2 * self._lag for one in flat)
        by_chance = BY_CHANCE * (len(alike) - len(flat))
        if len(flat) < self._enough or held < self._lag * (HELD + by_chance) or not _crosses(flat):
            return []
        as_high = sum(not one.cut and abs(one.ceiling) >= ROUND_AT * ceiling for one in alike)
        return flat if len(flat) >= as_high else []

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        seen = self._seen[track_index]
        tops = sum(number for _, number in seen.seconds)
        if not tops:
            lack_db = self._knee.lack_db[track_index]
            return "" if np.isnan(lack_db) else f"peaks {lack_db:.0f} dB lower than the safety's"
        ceiling_dbfs = number(float(amplitude_db(seen.ceiling)), digits=1)
        return f"{tops} flat top{'s' * (tops != 1)} in 10 s, ceiling {ceiling_dbfs} dBFS"


def _crosses(tops: list[_Top]) -> bool:
    """Whether a ceiling was met on samples and between them, not drawn by a voice."""
    return sum(top.sharpness for top in tops) >= CROSSED * len(tops)
