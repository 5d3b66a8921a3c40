"""Flat tops in samples: runs at an extreme that have corners, whatever their height.

Model: an overload holds the wave at a ceiling, so inside a run the samples lie on a straight line
(level, or leaning towards zero after a high-pass), and at both its ends the wave leaves that line
at once. A rounded top leaves it gradually: for a parabola or a quartic of so many samples the
ratio of the first step off the line to the bend inside is a fixed number, and only a larger one
counts. So no threshold in decibels is needed, and a little noise of the converter does no harm.
Runs of three samples as evidence: common practice, no source for a standard; matched filter for
the flat top: T. Riemer, M. Weiss, M. Losh, IEEE Southeastcon 1990 (cited in Aleinik & Matveev,
WASET IJECE 8(2), 2014).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import stretches
from engine.model.messages import Flags, Levels, Samples

RUN_SAMPLES: Final = 3
NEAR_PEAK: Final = 0.7
"""A ceiling lies at least this high, against the peak of its side in its surroundings."""
LEVEL_STEP: Final = 2e-4
"""Largest step inside a level run, against the peak: the noise of a good converter."""
LEANING_STEP: Final = 0.008
"""The same for a leaning or noisy run at 48 kHz: a high-pass of 60 Hz makes such steps."""
LEANING_SAMPLES: Final = 8
SHORT_LEANING_SAMPLES: Final = 4
"""Shorter leaning runs count with all their samples, where both corners are plain."""
LOWEST_CEILING: Final = 0.003
"""Under about -50 dBFS nothing overloads; converter steps look flat there."""

_CORNER: Final = np.array([np.inf, np.inf, np.inf, 20.0, 10.0, 8.0, 5.0])
"""Least ratio of first step off the line to bend inside, by samples in the run (the last for all
longer ones). A quartic, the flattest top that two harmonics make, has 15, 6.7, 4.1 and 2.9 for
3 to 6 samples, a parabola far less."""
_CORNER_TRIMMED: Final = 10.0
"""The same two samples off a run of 6 or more; a quartic has 9.5 at most."""
_CODE_16: Final = 1.0 / 32768.0
_CODE_24: Final = 1.0 / 8388608.0


@dataclass(frozen=True, slots=True, eq=False)
class FlatTops:
    """Flat runs, row by row in time order; arrays of shape (runs,).

    row : which of the rows given; start : first sample of the run; length : samples in it
    ceiling : value at its highest end, signed, full scale 1.0
    level : it is level; else it leans or is noisy
    """

    row: NDArray[np.int64]
    start: NDArray[np.int64]
    length: NDArray[np.int64]
    ceiling: Levels
    level: Flags


_NONE: Final = FlatTops(
    *(np.empty(0, dtype=np.int64),) * 3, np.empty(0), np.empty(0, dtype=np.bool_)
)


def flat_tops(rows: Samples, sample_rate_hz: int) -> FlatTops:
    """Every flat top in some tracks' samples, shape (rows, frames), each row for itself.

    Runs that touch the first or last sample are left out: their edges are not to be seen.
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
    step = np.abs(sound[1:] - sound[:-1]) / peak
    flat = joined & (step <= LEANING_STEP * min(1.0, 48_000 / sample_rate_hz))
    if not flat.any():
        return _NONE
    level = flat & (step <= LEVEL_STEP)
    first, last = _runs(flat, near, SHORT_LEANING_SAMPLES, size)
    short = last - first + 1 < LEANING_SAMPLES
    judged = partial(_judged, x, size, _quantum(x))
    found = [
        judged(*_runs(level, near, RUN_SAMPLES, size), leans=False, trim=0),
        judged(first[~short], last[~short], leans=True, trim=1),
        judged(first[short], last[short], leans=True, trim=0),
    ]
    return _joined(found) if any(len(runs.row) for runs in found) else _NONE


def _runs(
    flat: Flags, at: NDArray[np.int64], least: int, size: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last of at least so many samples in a row; `flat` joins `at` to the next."""
    begins, ends = stretches(flat)
    first, last = at[begins], at[ends]
    inner = (last - first + 1 >= least) & (first % size > 0) & (last % size < size - 1)
    return first[inner], last[inner]


def _judged(
    sound: Samples,
    size: int,
    quantum: float,
    first: NDArray[np.int64],
    last: NDArray[np.int64],
    leans: bool,
    trim: int,
) -> FlatTops:
    """Those of the runs first..last (inclusive) that are extremes with corners.

    With `trim` 1 the outermost samples, which may lie on a flank already, are left to the corners.
    """
    if not len(first):
        return _NONE
    a, b = first + trim, last - trim
    begin, end, before, after = (sound[at].astype(np.float64) for at in (a, b, first - 1, last + 1))
    length = b - a + 1
    sign = np.sign(begin)
    slope = (end - begin) / (length - 1)
    into = sign * (begin - slope * (1 + trim) - before)
    out_of = sign * (end + slope * (1 + trim) - after)
    if trim:
        corner = np.full(len(a), _CORNER_TRIMMED)
    else:
        corner = _CORNER[np.minimum(length, len(_CORNER) - 1)]
    # One sample shows already that most are rounded: the bend is at least what it is there.
    middle = length // 2
    bend = np.abs(sound[a + middle] - (begin + slope * middle))
    step_off = np.minimum(into, out_of)
    maybe = step_off >= corner * np.maximum(bend, quantum)
    if not maybe.any():
        return _NONE
    a, begin, end, first, last, length, sign, slope, step_off, corner = (
        field[maybe]
        for field in (a, begin, end, first, last, length, sign, slope, step_off, corner)
    )
    offsets = np.concatenate([[0], np.cumsum(length)[:-1]])
    within = np.arange(int(length.sum())) - np.repeat(offsets, length)
    line = np.repeat(begin, length) + np.repeat(slope, length) * within
    bend = np.maximum.reduceat(np.abs(sound[np.repeat(a, length) + within] - line), offsets)
    keep = step_off >= corner * np.maximum(bend, quantum)
    if leans:  # what a high-pass leaves of a level top sinks towards zero
        keep &= sign * slope <= 2.0 * bend / length
    ends = np.where(np.abs(begin) >= np.abs(end), begin, end)
    return FlatTops(
        row=(first // size)[keep],
        start=(first % size)[keep],
        length=(last - first + 1)[keep],
        ceiling=ends[keep],
        level=np.full(int(np.count_nonzero(keep)), not leans),
    )


def _joined(found: list[FlatTops]) -> FlatTops:
    """All runs in order; of two that overlap the level one."""
    fields = ("row", "start", "length", "ceiling", "level")
    row, start, length, ceiling, is_level = (
        np.concatenate([getattr(runs, name) for runs in found]) for name in fields
    )
    leaning, level = np.flatnonzero(~is_level), np.flatnonzero(is_level)[:, None]
    inside = (
        (row[level] == row[leaning])
        & (start[level] < start[leaning] + length[leaning])
        & (start[level] + length[level] > start[leaning])
    ).any(axis=0)
    outside = np.delete(np.arange(len(row)), leaning[inside])
    row, start, length, ceiling, is_level = (
        field[outside] for field in (row, start, length, ceiling, is_level)
    )
    order = np.lexsort((start, row))
    return FlatTops(row[order], start[order], length[order], ceiling[order], is_level[order])


def _quantum(x: Samples) -> float:
    """The converter's step: 16-bit if every sample is a 16-bit code, else 24-bit."""
    codes = x[:768] * np.float32(32768.0)
    return _CODE_16 if bool(np.all(codes == np.round(codes))) else _CODE_24
