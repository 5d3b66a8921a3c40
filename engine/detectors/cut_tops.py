"""Tops that an overload cut off, whatever followed: a coupling capacitor, a low-pass, a resampler.

Model: where an overload holds a wave, its slope breaks off from that of the flank to next to
nothing, and breaks off as sharply at the other end. Within the band of the converters that takes a
sample or two whatever comes after it: an ideal band limit turns a step of the slope into one that
overshoots by 9 % and rings away (J. W. Gibbs, Nature 59, 1899), a coupling capacitor leaves the top
leaning by its level times 2 pi corner / rate a sample. A natural wave loses its slope slowly: a
sine's lies under 12 % of the steepest for a thirteenth of its half wave, and needs a sixth of it on
each side to get there. So a top is cut off where its slope falls from `STEEP` to `FLAT` of the
flank's within two samples or so, on both sides, and where that takes more treble than a voice's
harmonics hold: the fourth difference weighs a frequency by its fourth power. A contact
that bounces jumps up and down again: there the flank has corners at its other ends too. How many
prove an overload is said in `clipped`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.first_difference import difference_lag
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Levels, Samples

LOWEST_CEILING: Final = 0.003
"""Under -50 dBFS the noise of converters bends the tops, and their steps look flat (ours)."""
NEAR_PEAK: Final = 0.9
"""A top reaches this share of the highest one of its side."""
UNDER: Final = 0.6
"""It is looked at down to this share of the highest one: there lie its flanks."""
FLANK: Final = 3
"""Samples beyond that in which the flank may be steepest, and room for the corner."""
FLAT: Final = 0.12
"""Largest step on a cut top against the steepest of the less steep flank: over Gibbs' 0.09."""
STEEP: Final = 0.6
CORNERS: Final = 4
"""Both corners together take at most so many samples from `STEEP` to `FLAT`: one each where the
ceiling was met on a sample, two where it was met between. The flattest wave of two harmonics, with
the third at a ninth in opposite phase, breaks off as quickly from about 680 Hz on (measured)."""
SHARP: Final = 0.1
"""Least fourth difference at a corner against the step on the flank. An ideal corner has up to 0.5,
half a sample off and behind a low-pass 0.2; the wave of two harmonics 0.042 at 1400 Hz, and as the
third power of frequency (calculated)."""
CROSSED: Final = 0.22
"""Least mean of that over the tops that prove an overload: the ceiling is met on a sample and
between two in turn, so that theirs lies near 0.35, behind a link that ends at 15 kHz at 0.23 and
more (calculated); corners that a voice draws in its periods are all blunt, 0.1 to 0.22 (ours)."""
SMOOTH: Final = 1e-3
"""Largest second difference on a top that leans behind a low cut, against the peak: one at 160 Hz
bends it by (2 pi 160 / 48000)², less than half of that (arithmetic)."""
SMOOTH_AFTER: Final = np.arange(5, 10)
"""Samples after the highest one: what rings there has died away, and most such tops go on."""
FULL_SCALE: Final = 1.0 - 2.0**-15
"""The highest code of 16 bits: what is held there, the converter cut, whatever brought it there."""
CUT_SAMPLES: Final = 3
"""Shortest cut top (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Tops:
    """Tops near the peak of their row; arrays of shape (tops,).

    row : which of the rows given; start : first flat sample; length : flat samples
    ceiling : highest value, full scale 1.0
    sharpness : fourth difference at the blunter corner against the step on the flank; 0 if round
    leans : smooth after its highest sample, as a top that a low cut follows (`low_cut`)
    lost : energy of what was cut off, a sum of squares over samples; 0 if round
    """

    row: NDArray[np.int64]
    start: NDArray[np.int64]
    length: NDArray[np.int64]
    ceiling: Levels
    sharpness: Levels
    leans: Flags
    lost: Levels

    @property
    def cut(self) -> Flags:
        """Both its ends are corners; else it is round."""
        return self.sharpness > 0.0


_NONE: Final = Tops(
    *(np.empty(0, dtype=np.int64),) * 3,
    *(np.empty(0),) * 2,
    np.empty(0, dtype=np.bool_),
    np.empty(0),
)


def tops_near_peak(rows: Samples, sample_rate_hz: int) -> Tops:
    """Every positive top near the peak of its row, shape (rows, frames), each row for itself.

    Tops that touch an end of the row are left out: their edges are not to be seen.
    """
    lag = difference_lag(sample_rate_hz)
    x = rows[:, ::lag]
    x = np.float32(0.5) * (x[:, 1:] + x[:, :-1])  # no filter rings at half the rate any more
    size = x.shape[1]
    highest = x.max(axis=1, initial=0.0)
    limit = np.where(highest >= LOWEST_CEILING, np.float32(UNDER) * highest, np.float32(np.inf))
    first, last = _lobes(x >= limit[:, None], size)
    if not len(first):
        return _NONE
    flat = x.ravel()
    # Each lobe with its flanks, one after the other.
    first, length = first - FLANK, last - first + 2 * FLANK + 2
    lobe, at = _laid_out(first, length)
    height = np.maximum.reduceat(flat[at], np.cumsum(length) - length)
    near = height >= np.float32(NEAR_PEAK) * highest[first // size]
    if not any_of(near):
        return _NONE
    start, flat_samples, sharpness, leans = _judged(
        flat, at[near[lobe]], length[near], height[near]
    )
    cut, lost = sharpness > 0.0, np.zeros(len(start))
    if any_of(cut):
        maybe = indices(cut)
        jumps = is_jump(flat, start[maybe], (start + flat_samples - 1)[maybe], 1.0, size, wide=2)
        sharpness[maybe[jumps]] = 0.0
        cut[maybe[jumps]] = False
        lost[cut] = lag * cut_off(flat, start[cut], flat_samples[cut])
    row, start = np.divmod(start, size)
    ceiling = height[near].astype(np.float64)
    return Tops(row, lag * start, lag * flat_samples, ceiling, sharpness, leans, lost)


def cut_off(
    sound: Samples, first: NDArray[np.int64], length: NDArray[np.int64], sign: Levels | float = 1.0
) -> Levels:
    """Energy of what was cut off flat tops of that sign, a sum of squares over samples.

    It is that of the parabola that goes on from the less steep flank on both sides: a quarter of
    slope times length high, 8/15 of its square on each sample. The ceiling was met between two
    samples, so the flank shows in the step before that one.
    """
    last = first + length - 1
    before, after = np.maximum(first - 2, 0), np.minimum(last + 2, len(sound) - 1)
    steps = (sound[first] - sound[first - 1], sound[first - 1] - sound[before])
    up = np.maximum(sign * steps[0], sign * steps[1])
    steps = (sound[last] - sound[last + 1], sound[last + 1] - sound[after])
    down = np.maximum(sign * steps[0], sign * steps[1])
    high = 0.25 * length * np.maximum(np.minimum(up, down), 0.0)
    return np.asarray(8.0 / 15.0 * length * np.square(high), dtype=np.float64)


def is_jump(
    sound: Samples,
    first: NDArray[np.int64],
    last: NDArray[np.int64],
    sign: Levels | float,
    size: int,
    *,
    wide: int,
) -> Flags:
    """Whether flat tops of that sign, under full scale, stand on flanks of so many steps that begin
    out of nothing, on both sides, and not at the other ceiling: a switch closed and opened, where
    waves come by a slope of their own. `sound` is rows of that `size`, one after the other."""
    ceiling = sign * sound[first]
    jumps: Flags = ceiling < FULL_SCALE
    for end, out in ((first, -1), (last, 1)):
        beyond = end + (wide + 1) * out
        seen = (beyond >= 0) & (beyond // size == first // size)
        beyond = np.where(seen, beyond, end)
        foot = np.where(seen, beyond - out, end)
        step = sign * (sound[end] - sound[foot]) / wide
        even = np.abs(sound[foot] - sound[beyond]) <= FLAT * step
        jumps &= seen & even & (sign * sound[foot] > -UNDER * ceiling)
    return jumps


def _laid_out(
    first: NDArray[np.int64], length: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Of each sample of those stretches, one after the other: which one it is of, and its place."""
    which = np.repeat(np.arange(len(first)), length)
    return which, np.arange(len(which)) + (first - np.cumsum(length) + length)[which]


def _lobes(high: Flags, size: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last sample of each stretch that has room for its flanks in its row."""
    high[:, : FLANK + 1] = False
    high[:, -FLANK - 1 :] = False
    at = np.flatnonzero(high.ravel())
    ends = np.flatnonzero(at[1:] - at[:-1] > 1)
    first, last = at[np.append(0, ends + 1)[: len(at)]], at[np.append(ends, -1)[: len(at)]]
    inner = (first % size > FLANK + 1) & (last % size < size - FLANK - 3)
    return first[inner], last[inner]


def _judged(
    flat: Samples, at: NDArray[np.int64], length: NDArray[np.int64], height: Samples
) -> tuple[NDArray[np.int64], NDArray[np.int64], Levels, Flags]:
    """First flat sample and flat samples of each lobe, and how sharp its blunter corner is; 0 where
    it does not lose its slope within a corner on both sides; and whether it may lean."""
    begin = np.cumsum(length) - length
    end = begin + length
    lobe, place = np.repeat(np.arange(len(begin)), length), np.arange(len(at))
    step = flat[at] - flat[at - 1]
    top = np.minimum.reduceat(np.where(flat[at] == height[lobe], place, len(at)), begin)
    rising = place <= top[lobe]
    up = np.maximum.reduceat(np.where(rising, step, 0.0), begin)
    down = np.maximum.reduceat(np.where(rising, 0.0, -step), begin)
    moves = np.abs(step) > FLAT * np.minimum(up, down)[lobe]
    # The run of small steps round the top; it begins with the sample after its last large step.
    first = np.maximum(_latest(moves, place)[top], begin)
    after = np.minimum(_next(moves, place)[np.minimum(top + 1, len(at) - 1)], end - 1)
    corners = first - _latest(step >= STEEP * up[lobe], place)[first]
    corners += _next(-step >= STEEP * down[lobe], place)[after] - after
    cut = (corners <= CORNERS) & (after - first >= CUT_SAMPLES)
    sharpness = np.zeros(len(begin))
    if any_of(cut):
        bend = np.abs(_fourth_difference(flat, at))
        rise = np.maximum.reduceat(np.where(rising, bend, 0.0), begin)
        fall = np.maximum.reduceat(np.where(rising, 0.0, bend), begin)
        sharpness[cut] = (np.minimum(rise, fall)[cut] / np.minimum(up, down)[cut]).astype(
            np.float64
        )
        sharpness[sharpness < SHARP] = 0.0
    return at[first], after - first, sharpness, _leans(flat, at[top], height)


def _leans(flat: Samples, top: NDArray[np.int64], height: Samples) -> Flags:
    """Whether the wave is smooth after its highest sample, which lies at `top`."""
    after = np.minimum(top[:, None] + SMOOTH_AFTER, len(flat) - 1)
    bend = np.abs(np.diff(flat[after], n=2, axis=1)).max(axis=1)
    return np.asarray(bend <= SMOOTH * height)


def _fourth_difference(x: Samples, at: NDArray[np.int64]) -> Samples:
    """Of the samples at those places, each with two more on both sides."""
    return np.asarray(x[at - 2] + x[at + 2] - 4.0 * (x[at - 1] + x[at + 1]) + 6.0 * x[at])


def _latest(flags: Flags, place: NDArray[np.int64]) -> NDArray[np.int64]:
    """Where the last True up to each place lies, far before all where there is none."""
    return np.maximum.accumulate(np.where(flags, place, -len(place) - CORNERS))


def _next(flags: Flags, place: NDArray[np.int64]) -> NDArray[np.int64]:
    """Where the first True from each place on lies, far behind all where there is none."""
    return np.minimum.accumulate(np.where(flags, place, 2 * len(place) + CORNERS)[::-1])[::-1]
