"""All tops near the peak of some stretches of sound at once: level runs, cut ones and round ones.

Round tops speak only against cut ones. So where a stretch has none that is flat, its round tops
stay as they were measured, and become single tops only once a flat one comes near.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.cut_tops import tops_near_peak
from engine.detectors.flat_tops import flat_tops
from engine.detectors.low_cut import held_tops
from engine.model.messages import Flags, Levels, Samples

SAME_CEILING: Final = 0.01
"""Level runs stand at one ceiling, and nothing exceeds it, within this share of its height."""
SAME_CUT: Final = 0.05
"""The same for cut tops: what follows the overload shifts them against each other a little."""
WINDOW_S: Final = 10
"""The last seconds of which some hold flat tops (CONTRACT.md)."""
_ROUND_KEPT: Final = 20
"""Round tops of each side that are kept of a stretch without a flat one: three flat ones are a
proof, so as many more speak against it."""


class Top(NamedTuple):
    """One top: where it begins, s, its flat samples, its signed ceiling.

    level : a run of samples that do not move; cut : flat between two corners; neither: round
    sharpness : of its corners, as in `cut_tops`; a level run leaves its ceiling at once
    lost : energy that was cut off a flat one, as in `cut_tops`
    """

    at_s: float
    length: int
    ceiling: float
    level: bool
    cut: bool
    sharpness: float = 1.0
    lost: float = 0.0

    def alike(self, other: Top) -> bool:
        """Both stand at one ceiling."""
        share = SAME_CEILING if self.level and other.level else SAME_CUT
        return abs(abs(self.ceiling) - abs(other.ceiling)) <= share * abs(self.ceiling)


@dataclass(slots=True)
class RowTops:
    """The tops of one stretch: `single` ones, and round ones side by side, (at_s, length, ceiling),
    those of one sign after the other; `held` are proven, by undoing what followed the overload:
    `held_to` is how far all that lies beside them goes, up and down."""

    single: list[Top] = field(default_factory=list)
    round_ones: list[tuple[Levels, NDArray[np.int64], Levels]] = field(default_factory=list)
    held: list[Top] = field(default_factory=list)
    held_to: Levels = field(default_factory=lambda: np.zeros(2))

    @property
    def in_order(self) -> list[Top]:
        """All of them by time."""
        tops = list(self.single)
        for columns in self.round_ones:
            for at_s, length, ceiling in zip(*(one.tolist() for one in columns), strict=True):
                tops.append(Top(at_s, length, ceiling, False, False, 0.0))
        tops.sort(key=lambda top: top.at_s)
        return tops

    @property
    def newest_cut_s(self) -> float:
        """Where the last flat one begins, s; -inf where there is none."""
        return max((top.at_s for top in self.single if top.cut), default=-np.inf)


@dataclass(slots=True)
class SeenTops:
    """What one track showed: recent tops, and (second, tops) of those that clipped.

    waiting : tops of ticks that are not among the recent ones yet, each with the tick's end, s
    newest_cut_s : where the last flat one begins, s
    """

    tops: list[Top] = field(default_factory=list)
    waiting: deque[tuple[float, RowTops]] = field(default_factory=deque)
    newest_cut_s: float = -np.inf
    seconds: deque[tuple[int, int]] = field(default_factory=deque)
    ceiling: float = 0.0
    onset_s: float = np.nan
    last_s: float = np.nan

    def add(self, found: RowTops, end_s: float, since_s: float) -> None:
        """Take in those of a tick that ends there; none before `since_s` counts any more."""
        self.newest_cut_s = max(self.newest_cut_s, found.newest_cut_s)
        self.waiting.append((end_s, found))
        while self.waiting[0][0] <= since_s:
            self.waiting.popleft()

    def bring_in(self, apart_s: float, since_s: float) -> None:
        """All that wait become recent; one nearer than that to another was seen a tick before."""
        for _, found in self.waiting:
            newest_s = self.tops[-1].at_s if self.tops else -np.inf
            self.tops += [top for top in found.in_order if top.at_s > newest_s + apart_s]
        self.waiting.clear()
        self.tops = [top for top in self.tops if top.at_s > since_s]

    def count(self, second: int, tops: int) -> None:
        """Add flat tops to those of that second."""
        if self.seconds and self.seconds[-1][0] == second:
            tops += self.seconds.pop()[1]
        self.seconds.append((second, tops))

    def forget(self, now_s: float) -> None:
        """Drop the seconds that ended more than ten ago."""
        while self.seconds and self.seconds[0][0] + 1 <= now_s - WINDOW_S:
            self.seconds.popleft()


class TopSearch:
    """Finds the tops in rows of sound, shape (rows, frames), each row for itself.

    Parameters
    ----------
    x : Samples
    begin_s : ndarray, shape (rows,)
        Where each begins, s.
    heads : ndarray of int64, shape (rows,)
        The row of which the first samples say how finely this one's are quantised.
    as_high, as_low : ndarray of bool, shape (rows,)
        Where that side is as high as it was lately.
    """

    def __init__(
        self,
        x: Samples,
        begin_s: Levels,
        heads: NDArray[np.int64],
        as_high: Flags,
        as_low: Flags,
        sample_rate_hz: int,
    ) -> None:
        self._x, self._begin_s, self._heads = x, begin_s, heads
        self._as_high, self._as_low = np.flatnonzero(as_high), np.flatnonzero(as_low)
        self._rate_hz = sample_rate_hz

    def found(self) -> dict[int, RowTops]:
        """The tops of each row that has any."""
        tops = self._level_tops()
        self._add_others(tops)
        return tops

    def _level_tops(self) -> dict[int, RowTops]:
        """Level runs that nothing in their row exceeds, by row."""
        tops: dict[int, RowTops] = {}
        x = self._x
        level = flat_tops(x, self._heads)
        if not len(level.row):
            return tops
        high, low = x.max(axis=1), -x.min(axis=1)
        at_s = self._begin_s[level.row] + level.start / self._rate_hz
        fields = (level.row, at_s, level.length, level.ceiling, level.lost)
        for row, begin_s, length, ceiling, lost in zip(*(f.tolist() for f in fields), strict=True):
            if (high if ceiling > 0 else low)[row] <= abs(ceiling) * (1.0 + SAME_CEILING):
                top = Top(begin_s, length, ceiling, level=True, cut=True, lost=lost)
                tops.setdefault(row, RowTops()).single.append(top)
        return tops

    def _add_others(self, tops: dict[int, RowTops]) -> None:
        """Add the other tops near the peak, where a side is as high as in the last second."""
        rows = np.concatenate([self._as_high, self._as_low])
        near = tops_near_peak(
            np.concatenate([self._x[self._as_high], -self._x[self._as_low]]), self._rate_hz
        )
        if not len(near.row):
            return
        row = rows[near.row]
        begin_s = self._begin_s[row]
        at_s = begin_s + near.start / self._rate_hz
        ceiling = np.where(near.row < len(self._as_high), 1.0, -1.0) * near.ceiling
        ends = np.flatnonzero(np.diff(near.row, append=-1)) + 1
        flat = {*row[near.cut].tolist(), *tops}
        level_s = {one: sorted(top.at_s for top in found.single) for one, found in tops.items()}
        first = 0
        for end in ends.tolist():
            one, span = int(row[first]), slice(first, end)
            found = tops.setdefault(one, RowTops())
            if one not in flat:
                # Some speak for all: a tone has hundreds.
                kept = slice(max(first, end - _ROUND_KEPT), end)
                found.round_ones.append((at_s[kept], near.length[kept], ceiling[kept]))
            else:
                edges = (near.start[span] - 1, near.start[span] + near.length[span])
                around_s = (begin_s[span] + edge / self._rate_hz for edge in edges)
                columns = (
                    *around_s, at_s[span], near.length[span], ceiling[span], near.cut[span],
                    near.sharpness[span], near.lost[span],
                )  # fmt: skip
                known_s = level_s.get(one, [])
                for from_s, until_s, *top in zip(*(c.tolist() for c in columns), strict=True):
                    place = bisect_left(known_s, from_s)
                    if place == len(known_s) or known_s[place] > until_s:
                        at, length, height, cut, sharpness, lost = top
                        one_top = Top(at, length, height, False, cut, sharpness, lost)
                        found.single.append(one_top)
            first = end
        self._add_held(tops, sorted(set(row[near.leans].tolist())))

    def _add_held(self, tops: dict[int, RowTops], leaning: list[int]) -> None:
        """Add the tops in those rows that a low cut made lean, where it can be undone."""
        for row in leaning:
            held = held_tops(self._x[row], self._rate_hz)
            if held is None:
                continue
            at_s = self._begin_s[row] + held.start / self._rate_hz
            columns = zip(*(c.tolist() for c in (at_s, held.length, held.ceiling)), strict=True)
            found = tops.setdefault(row, RowTops())
            found.held = [
                Top(at, length, ceiling, level=False, cut=True) for at, length, ceiling in columns
            ]
            sides = (held.ceiling > 0.0).any(), (held.ceiling < 0.0).any()
            found.held_to = np.where(sides, (held.highest, -held.lowest), 0.0)
