"""Tops that an overload cut off and a low cut then made lean: the cut is undone.

Model: a low cut of the order two is y'' + a y' + b y = x'' (order one: b = 0), so what went into it
is y + a (integral of y) + b (its integral) and a straight line, which nobody knows. Where an
overload held x, x' = 0: three unknowns explain each sample of all tops of a tick, which no voice
does. They are fitted to the stretches that are as smooth as tops and begin or end in a corner, by
least squares, reweighted so that what fits badly counts little (P. W. Holland and R. E. Welsch,
Communications in Statistics A6, 813-827, 1977: Cauchy's weights). The overload is proven where
nearly all of them fit to the rounding of a converter, the filter found is one that a mixer has (no
resonance: a² is no less than b), and what it held lies at the highest or lowest of what went in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import stretches
from engine.detectors.cut_tops import FLAT, SMOOTH
from engine.measure.first_difference import difference_lag
from engine.model.messages import Flags, Levels, Samples
from engine.model.percentiles import median

HIGHEST_HZ: Final = 160.0
"""Low cuts of mixers and packs end here (common practice, no source)."""
STRETCH: Final = 6
"""Samples; what is shorter leans too little to be hidden."""
CORNER: Final = 0.05
"""Least fourth difference at an end against the steepest step of all: half of what `cut_tops` asks
of a flank, which is less steep."""
AWAY: Final = 0.1
"""A top lies at least this far from zero, against the peak."""
RESIDUAL: Final = 3e-4
"""Largest error of the slope where it fits, against the peak: the noise of a good converter under a
quiet overload. In voices that nothing cut it is five times this (ours)."""
FITTING: Final = 0.6
"""Least share of the samples that fit: what rings after a corner may not."""
HELD: Final = 24
"""Samples that fit, at least: eight for each unknown."""
ENOUGH: Final = 3
AT_CEILING: Final = 0.04
"""Tops lie this near to the highest or lowest, against the distance of the two."""
ROUNDS: Final = 6


@dataclass(frozen=True, slots=True, eq=False)
class HeldTops:
    """Tops of one row that an overload held; arrays of shape (tops,).

    start, length : samples of the row
    ceiling : of the overload, before the low cut, signed, full scale 1.0
    highest, lowest : of all that is in the row, which the overload bounds as well
    """

    start: NDArray[np.int64]
    length: NDArray[np.int64]
    ceiling: Levels
    highest: float
    lowest: float


def held_tops(row: Samples, sample_rate_hz: int) -> HeldTops | None:
    """The tops in a row of samples, shape (frames,), that went through a low cut; None where
    there is no proof of any."""
    lag = difference_lag(sample_rate_hz)
    wave = row[::lag].astype(np.float64)
    wave = 0.5 * (wave[1:] + wave[:-1])  # no filter rings at half the rate any more
    peak = float(np.abs(wave).max())
    first, after = _smooth_stretches(wave, peak)
    if len(first) < ENOUGH:
        return None
    length = after - first
    which = np.repeat(np.arange(len(first)), length)
    at = np.arange(len(which)) + (first - np.cumsum(length) + length)[which]
    slope = 0.5 * (wave[at + 1] - wave[at - 1])
    known = np.stack([wave, np.cumsum(wave), np.ones(len(wave))], axis=1)
    unknown, error = _fit(known[at], slope)
    fits = np.abs(error) <= RESIDUAL * peak
    if not _is_low_cut(unknown, sample_rate_hz / lag) or fits.sum() < max(HELD, FITTING * len(at)):
        return None
    # The sum of small errors of slopes would leave the tops of a side at many heights.
    areas = np.cumsum(known, axis=0)
    sides = np.stack([np.ones(len(at)), -np.sign(wave[at])], axis=1)
    unknown, _ = _fit(np.hstack([areas[at], sides]), wave[at])
    if not _is_low_cut(unknown, sample_rate_hz / lag):
        return None
    start, length, ceiling = _at_ceiling(wave + areas @ unknown[:3], at[fits], which[fits])
    if len(start) < ENOUGH or length.sum() < FITTING * len(at):
        return None
    return HeldTops(lag * start, lag * length, ceiling, float(wave.max()), float(wave.min()))


def _smooth_stretches(wave: Levels, peak: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First sample of each stretch that may be a top, and the one after its last."""
    step = np.diff(wave)
    bend = np.diff(step)
    none = np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    smooth = np.abs(bend) <= SMOOTH * peak
    first, last = stretches(smooth)
    long = last - first >= STRETCH
    inner = long & (first > STRETCH) & (last < len(bend) - STRETCH)
    first, last = first[inner], last[inner]
    if len(first) < ENOUGH:
        return none
    corner = np.abs(np.diff(bend, n=2))
    ends = np.concatenate([first[:, None] + np.arange(-5, 1), last[:, None] + np.arange(-2, 4)], 1)
    sharp = corner[ends].max(axis=1) >= CORNER * np.abs(step).max()
    middle = wave[(first + last) // 2 + 1]
    keep = sharp & (np.abs(middle) >= AWAY * peak)
    keep &= ~(_is_jump(wave, first, -1) & _is_jump(wave, last + 1, 1))
    return first[keep] + 2, last[keep] + 1


def _is_jump(wave: Levels, end: NDArray[np.int64], out: int) -> Flags:
    """Where a stretch ends in a jump out of nothing, as of a contact that bounces behind its
    capacitor: a flank of two steps, and no slope beyond it."""
    foot, beyond = wave[end + 2 * out], wave[end + 3 * out]
    return np.asarray(np.abs(foot - beyond) <= FLAT * np.abs(wave[end] - foot))


def _fit(known: Levels, given: Levels) -> tuple[Levels, Levels]:
    """So much of what is known as makes nothing of what is given, and the error at each sample."""
    scale = np.maximum(np.abs(known).max(axis=0), 1e-30)
    known = known / scale
    weight = np.ones(len(given))
    for _ in range(ROUNDS):
        weighed = known * weight[:, None]
        unknown = np.linalg.lstsq(weighed, -given * weight, rcond=None)[0]
        error = given + known @ unknown
        typical = max(float(median(np.abs(error))), 1e-9)
        weight = 1.0 / np.sqrt(1.0 + np.square(error / (2.0 * typical)))
    return unknown / scale, error


def _is_low_cut(unknown: Levels, rate_hz: float) -> bool:
    """Whether that is a filter without resonance, as low cuts are."""
    a, b = (float(one) for one in unknown[:2])
    highest = 2.0 * np.pi * HIGHEST_HZ / rate_hz
    return 0.0 < a <= 2.0 * highest and -0.1 * a * a <= b <= a * a


def _at_ceiling(
    source: Levels, at: NDArray[np.int64], which: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], Levels]:
    """First sample, samples and signed ceiling of the tops at the highest or lowest of the source;
    `which` says of each sample whose it is."""
    highest, lowest = float(source.max()), float(source.min())
    limit = AT_CEILING * (highest - lowest)
    above = highest - source[at] <= limit
    near = above | (source[at] - lowest <= limit)
    _, begin, length = np.unique(which[near], return_index=True, return_counts=True)
    side = np.where(above[near][begin], 0.5, -0.5)
    return at[near][begin], length, side * (highest - lowest)
