"""Level runs in samples: where an overload holds the wave at one value, whatever its height.

Model: inside the run the samples do not move, and at both its ends the wave leaves it at once. A
rounded top leaves it gradually: for a parabola or a quartic of so many samples the ratio of the
first step off the level to the bend inside is a fixed number, and only a larger one counts. So no
threshold in decibels is needed, and a little noise of the converter does no harm. Runs of three
samples as evidence: common practice, no source for a standard; matched filter for the flat top: T.
Riemer, M. Weiss, M. Losh, IEEE Southeastcon 1990 (cited in Aleinik & Matveev, WASET IJECE 8(2),
2014).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import stretches
from engine.detectors.cut_tops import LOWEST_CEILING, cut_off, is_jump
from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Levels, Samples

RUN_SAMPLES: Final = 3
NEAR_PEAK: Final = 0.7
"""A ceiling lies at least this high, against the peak of its side in its surroundings."""
LEVEL_STEP: Final = 2e-4
"""Largest step inside a level run, against the peak: the noise of a good converter."""

_CORNER: Final = np.array([np.inf, np.inf, np.inf, 20.0, 10.0, 8.0, 5.0])
"""Least ratio of first step off the level to bend inside, by samples in the run (the last for all
longer ones). A quartic, the flattest top that two harmonics make, has 15, 6.7, 4.1 and 2.9 for
3 to 6 samples, a parabola far less."""
_CODE_16: Final = 1.0 / 32768.0
_CODE_24: Final = 1.0 / 8388608.0


@dataclass(frozen=True, slots=True, eq=False)
class FlatTops:
    """Level runs, row by row in time order; arrays of shape (runs,).

    row : which of the rows given; start : first sample of the run; length : samples in it
    ceiling : value at its highest end, signed, full scale 1.0
    lost : energy of what was cut off, a sum of squares over samples
    """

    row: NDArray[np.int64]
    start: NDArray[np.int64]
    length: NDArray[np.int64]
    ceiling: Levels
    lost: Levels


_NONE: Final = FlatTops(*(np.empty(0, dtype=np.int64),) * 3, np.empty(0), np.empty(0))


def flat_tops(rows: Samples, heads: NDArray[np.int64] | None = None) -> FlatTops:
    """Every level run in some tracks' samples, shape (rows, frames), each row for itself.

    `heads` says of each row which one's first samples say how finely its own are quantised, the
    first where left out. Runs that touch the first or last sample are left out: their edges are not
    to be seen.
    """
    size = rows.shape[1]
    rows = np.ascontiguousarray(rows)
    x = rows.ravel()
    # Each side has a peak of its own: an overload of one side may lie far under the other.
    lowest, highest = rows.min(axis=1), rows.max(axis=1)
    lowest = np.where(lowest <= -LOWEST_CEILING, lowest, np.float32(-np.inf))
    highest = np.where(highest >= LOWEST_CEILING, highest, np.float32(np.inf))
    share = np.float32(NEAR_PEAK)
    near = np.flatnonzero((rows >= share * highest[:, None]) | (rows <= share * lowest[:, None]))
    # All that follows looks at those few samples only.
    row, frame = np.divmod(near[1:], size)
    joined = (near[1:] - near[:-1] == 1) & (frame > 0)
    sound = x[near]
    peak = np.where(sound[1:] > 0.0, highest[row], -lowest[row])
    level = joined & (np.abs(sound[1:] - sound[:-1]) <= LEVEL_STEP * peak)
    if not any_of(level):
        return _NONE
    return _judged(rows, heads, *_runs(level, near, size))


def _runs(
    level: Flags, at: NDArray[np.int64], size: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last of enough samples in a row; `level` joins `at` to the next."""
    begins, ends = stretches(level)
    first, last = at[begins], at[ends]
    inner = (last - first + 1 >= RUN_SAMPLES) & (first % size > 0) & (last % size < size - 1)
    return first[inner], last[inner]


def _judged(
    rows: Samples,
    heads: NDArray[np.int64] | None,
    first: NDArray[np.int64],
    last: NDArray[np.int64],
) -> FlatTops:
    """Those of the runs first..last (inclusive) that are extremes with corners."""
    if not len(first):
        return _NONE
    sound, size = rows.ravel(), rows.shape[1]
    begin, end, before, after = (
        sound[at].astype(np.float64) for at in (first, last, first - 1, last + 1)
    )
    length = last - first + 1
    sign = np.sign(begin)
    slope = (end - begin) / (length - 1)
    into = sign * (begin - slope - before)
    out_of = sign * (end + slope - after)
    corner = _CORNER[np.minimum(length, len(_CORNER) - 1)]
    step_off, quantum = np.minimum(into, out_of), _quantum(rows, heads, first // size)
    # One sample shows already that most are rounded: the bend is at least what it is there.
    middle = length // 2
    bend = np.abs(sound[first + middle] - (begin + slope * middle))
    maybe = step_off >= corner * np.maximum(bend, quantum)
    if not any_of(maybe):
        return _NONE
    first, begin, end, length, slope, step_off, corner, quantum = (
        field[maybe] for field in (first, begin, end, length, slope, step_off, corner, quantum)
    )
    offsets = np.concatenate([[0], np.cumsum(length)[:-1]])
    within = np.arange(int(length.sum())) - np.repeat(offsets, length)
    line = np.repeat(begin, length) + np.repeat(slope, length) * within
    bend = np.maximum.reduceat(np.abs(sound[np.repeat(first, length) + within] - line), offsets)
    keep = step_off >= corner * np.maximum(bend, quantum)
    upward = np.where(begin > 0.0, 1.0, -1.0)
    keep &= ~is_jump(sound, first, first + length - 1, upward, size, wide=1)
    first, length = first[keep], length[keep]
    ends = np.where(np.abs(begin) >= np.abs(end), begin, end)[keep]
    lost = cut_off(sound, first, length, upward[keep])
    return FlatTops(first // size, first % size, length, ends, lost)


def _quantum(rows: Samples, heads: NDArray[np.int64] | None, which: NDArray[np.int64]) -> Levels:
    """The converter's step in each of those rows: 16-bit if every sample is a 16-bit code, else
    24-bit."""
    heads = np.zeros(len(rows), dtype=np.int64) if heads is None else heads
    asked, back = np.unique(heads[which], return_inverse=True)
    codes = rows[asked, :768] * np.float32(32768.0)
    return np.where((codes == np.round(codes)).all(axis=1), _CODE_16, _CODE_24)[back]
