"""Lines at multiples of the mains, followed through the sound: amplitude and phase in steps.

An engine has lines too, at each multiple of the turns of its shaft, of a four-stroke one at every
half turn; some of them lie near those of the mains, but most of them between.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from engine.detectors.mains_spectra import STANDS_OUT, taper
from engine.model.flag_arrays import count_of, indices
from engine.model.messages import Levels
from engine.model.percentiles import median

LINES: Final = 10
"""Multiples of the mains that are followed."""
STEP_S: Final = 0.2
"""From one amplitude to the next, s; each is taken over twice that."""

TURNS_HZ: Final = (8.0, 45.0)
"""Lines of an engine lie so far from each other: 1000 turns a minute and more, of a four-stroke
engine at each half turn (arithmetic)."""
BESIDE_HZ: Final = 4.0
"""What is nearer to a multiple of the mains, or to another line, is not told from it."""
AS_HIGH: Final = 0.1
"""A line between those of the mains has at least this share of the power of the second highest of
them (-10 dB; of the highest where it stands alone, which cylinders that fire make): else the hum is
heard over the engine."""
ON_LINE: Final = 0.03
"""Share of the distance between two lines by which one may be off: no speed is quite even. Two that
lie so near to the middle between multiples are those of the half turns at 1500 and 1800 a minute,
which is what generator sets make (four poles: arithmetic)."""
SEVERAL: Final = 3
MOST: Final = 0.75
"""So many lines between those of the mains, and this share of all, are the engine's (ours)."""
FALLS_DB: Final = 0.5
"""From step to step: 60 dB in 24 s, the longest that the low strings of a bass ring (ours)."""

Steps = NDArray[np.complex128]


def line_steps(
    sound: NDArray[np.float32], rate_hz: float, mains_hz: float, lines: NDArray[np.int64]
) -> Steps:
    """Complex amplitude of those multiples of the mains in one sound, shape (steps, lines)."""
    step, length = round(STEP_S * rate_hz), round(2.0 * STEP_S * rate_hz)
    pieces = np.ascontiguousarray(np.lib.stride_tricks.sliding_window_view(sound, length)[::step])
    turn = -2j * np.pi * mains_hz / rate_hz
    powers = _powers(np.exp(turn * np.arange(length)), int(lines.max()))
    # Real and imaginary part as columns of one real product.
    basis = (powers[lines - 1] * taper(length)).astype(np.float32).swapaxes(1, 2)
    z = (pieces @ np.ascontiguousarray(basis)).view(np.complex64)
    starts = np.exp(turn * step * np.outer(np.arange(len(pieces)), lines))
    return np.asarray(z[:, :, 0].T * starts)


def _powers(z: Steps, number: int) -> NDArray[np.float64]:
    """The first so many powers of each, real and imaginary part: (number, 2, len(z)).

    By hand: numpy's product of complex numbers along an axis takes twice as long.
    """
    powers = np.empty((number, 2, len(z)))
    powers[0] = z.real, z.imag
    real, imaginary = powers[0]
    by_real, by_imaginary = np.empty((2, 2, len(z)))
    for before, after in pairwise(powers):
        np.multiply(before, real, out=by_real)
        np.multiply(before, imaginary, out=by_imaginary)
        np.subtract(by_real[0], by_imaginary[1], out=after[0])
        np.add(by_imaginary[0], by_real[1], out=after[1])
    return powers


def tuned_lines(sound: NDArray[np.float32], rate_hz: float, mains_hz: float) -> tuple[Steps, float]:
    """The first `LINES` multiples in steps of 0.2 s, and the mains frequency they tell.

    It is corrected by how the phase moves on, of the line on which it does so most evenly: a voice
    may be far stronger on the others.
    """
    z = line_steps(sound, rate_hz, mains_hz, np.arange(1, LINES + 1))
    turns = z[1:] * np.conj(z[:-1])
    total = turns.sum(axis=0)
    even = np.abs(total) / np.maximum(np.abs(turns).sum(axis=0), 1e-30)
    line = int(np.argmax(even))
    turn = float(np.angle(total[line]))
    by_line = turn / (line + 1) * np.arange(1, LINES + 1)
    z = z * np.exp(-1j * np.outer(np.arange(len(z)), by_line))
    return z, mains_hz + turn / (line + 1) / (2.0 * np.pi * STEP_S)


def middle_of(z: Steps) -> Steps:
    """The median of the steps along the first axis, of real and imaginary part by itself."""
    parts = np.sort(np.ascontiguousarray(z).view(np.float64).reshape(*z.shape, 2), axis=0)
    middle = (parts[(len(z) - 1) // 2] + parts[len(z) // 2]) / 2.0
    return np.asarray(middle.view(np.complex128)[..., 0])


def is_engine(sound: NDArray[np.float32], rate_hz: float, mains_hz: float, power: Levels) -> bool:
    """Whether the strongest multiple of the mains is one of the lines of an engine.

    `power` is that of each multiple of the mains, amplitude squared, shape (lines,).
    """
    *_, second, highest = np.sort(power).tolist()
    least = AS_HIGH * (second or highest)
    between_hz = _between_hz(sound, rate_hz, mains_hz, least)
    halfway = np.abs(between_hz / mains_hz % 1.0 - 0.5) <= ON_LINE
    if np.count_nonzero(halfway) >= 2:
        return True
    if len(between_hz) < SEVERAL:
        return False
    strongest_hz = mains_hz * (int(np.argmax(power)) + 1)
    orders = np.arange(np.ceil(strongest_hz / TURNS_HZ[1]), strongest_hz / TURNS_HZ[0] + 1)
    turns_hz = strongest_hz / orders[:, None]
    # From one line to the next: what the frequency of the mains is off does not add up.
    gaps_hz = np.diff(np.sort([strongest_hz, *between_hz]))
    number = np.maximum(np.round(gaps_hz / turns_hz), 1.0)
    fits = count_of(np.abs(gaps_hz / turns_hz - number) <= ON_LINE * number, axis=1)
    return bool(fits.max(initial=0) >= max(SEVERAL, MOST * len(gaps_hz)))


def _between_hz(
    sound: NDArray[np.float32], rate_hz: float, mains_hz: float, least_power: float
) -> Levels:
    """Where lines as high as that stand between those of the mains; what is said glides, so that
    its lines are wide in the spectrum of the whole stretch."""
    power = np.abs(np.fft.rfft(sound * taper(len(sound)))) ** 2
    bin_hz = rate_hz / len(sound)
    reach = round(BESIDE_HZ / bin_hz)
    highest = int(LINES * mains_hz / bin_hz) + reach
    here = power[reach : highest - reach]
    at_hz = (np.arange(len(here)) + reach) * bin_hz
    off_hz = np.abs(at_hz - mains_hz * np.round(at_hz / mains_hz))
    high = indices((here >= least_power) & (off_hz >= BESIDE_HZ))
    near = sliding_window_view(power[:highest], 2 * reach + 1)[high]
    lobe = near[:, reach - 2 : reach + 3]
    beside = (near.sum(axis=1) - lobe.sum(axis=1)) / (2 * reach - 4)
    line = (here[high] == near.max(axis=1)) & (here[high] >= STANDS_OUT * beside)
    return np.asarray(at_hz[high[line]])


def rings(z: Steps) -> bool:
    """Whether one line mostly falls, however often it is struck anew, shape (steps,): a string."""
    steps_db = np.diff(20.0 * np.log10(np.abs(z) + 1e-12))
    return bool(median(steps_db) < -FALLS_DB)


def steps_since(z: Steps, newest: int, reach: float) -> int | None:
    """Over how many of the last steps one line stands, shape (steps,); None where there is none.

    The line is the median of the `newest` steps; it may wander with those within `reach` of it.
    """
    line = middle_of(z[-newest:])[()]
    if line == 0.0:
        return None
    # Going back, each step speaks for the line or against it, by 1 at most whatever words say:
    # it began where most speaks for it after.
    gained = np.zeros(len(z) + 1)
    for back, value in enumerate(z[::-1], start=1):
        share = float((value * np.conj(line)).real) / abs(line) ** 2
        gained[back] = gained[back - 1] + np.clip(2.0 * share - 1.0, -1.0, 1.0)
        if abs(value - line) < reach * abs(line):
            line = (line + value) / 2.0
    return int(np.argmax(gained))
