"""Flat tops in samples: runs at an extreme that have corners, whatever their height.

Model: an overload holds the wave at a ceiling, so the samples inside a run hardly differ while
the step into and out of it is many times larger. A rounded top, even one drawn coarsely by a
16-bit converter, grows steps gradually; the ratio of edge step to inner range tells them apart
without a threshold in decibels. Runs of three samples as evidence: common practice, no source
for a standard; flat-top matching: T. Riemer, M. Weiss, M. Losh, IEEE Southeastcon 1990 (cited in
Aleinik & Matveev, WASET IJECE 8(2), 2014).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model import Levels, Samples

RUN_SAMPLES: Final = 3
CORNER: Final = 4.0
"""Least ratio of the edge steps to the range inside the run."""
NEAR_PEAK: Final = 0.9
"""A ceiling lies at least this high, against the peak of its surroundings."""
FLATNESS: Final = 2e-4
"""Largest step inside a run, against its height."""
LOWEST_CEILING: Final = 0.003
"""Under about -50 dBFS nothing overloads; converter steps look flat there."""
_CODE_16: Final = 1.0 / 32768.0
_CODE_24: Final = 1.0 / 8388608.0


@dataclass(frozen=True, slots=True, eq=False)
class FlatTops:
    """Flat runs of one track, in time order; arrays of shape (runs,).

    start : first sample of the run, counted from the start of the samples given
    length : samples in the run
    ceiling : mean value of the run, signed, full scale 1.0
    """

    start: NDArray[np.int64]
    length: NDArray[np.int64]
    ceiling: Levels


def flat_tops(samples: Samples) -> FlatTops:
    """Every flat top in the samples of one track, shape (frames,).

    Runs that touch the first or last sample are left out: their edges are not to be seen.
    """
    x = samples.astype(np.float64)
    magnitude = np.abs(x)
    peak = float(magnitude.max(initial=0.0))
    if peak < LOWEST_CEILING:
        return _NONE
    step = np.abs(np.diff(x))
    flat = (step <= FLATNESS * peak) & (magnitude[1:] >= NEAR_PEAK * peak)
    edges = np.flatnonzero(np.diff(flat.astype(np.int8), prepend=0, append=0))
    start, end = edges[::2], edges[1::2]  # flat steps start..end-1 join samples start..end
    inner = (end - start + 1 >= RUN_SAMPLES) & (start > 0) & (end < len(x) - 1)
    start, end = start[inner], end[inner]
    if not len(start):
        return _NONE
    quantum = _quantum(x)
    keep = [_has_corners(x, a, b, quantum) for a, b in zip(start, end, strict=True)]
    start, end = start[keep], end[keep]
    ceiling = np.array([x[a : b + 1].mean() for a, b in zip(start, end, strict=True)])
    return FlatTops(start, end - start + 1, ceiling)


_NONE: Final = FlatTops(
    np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float64)
)


def _quantum(x: Levels) -> float:
    """The converter's step: 16-bit if every sample is a 16-bit code, else 24-bit."""
    codes = x[: 4 * RUN_SAMPLES * 64] * 32768.0
    return _CODE_16 if bool(np.all(codes == np.round(codes))) else _CODE_24


def _has_corners(x: Levels, start: int, end: int, quantum: float) -> bool:
    """The run start..end (inclusive) is an extreme, and falls off sharply on both sides."""
    run = x[start : end + 1]
    sign = 1.0 if run[0] > 0.0 else -1.0
    inner = float(run.max() - run.min())
    into = sign * (run[0] - x[start - 1])
    out_of = sign * (run[-1] - x[end + 1])
    return bool(min(into, out_of) >= CORNER * max(inner, quantum))
