"""Lines at multiples of the mains, followed through the sound: amplitude and phase in steps."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.mains_spectra import taper

LINES: Final = 10
"""Multiples of the mains that are followed."""
STEP_S: Final = 0.2
"""From one amplitude to the next, s; each is taken over twice that."""

Steps = NDArray[np.complex128]


def line_steps(
    sound: NDArray[np.float32], rate_hz: float, mains_hz: float, lines: NDArray[np.int64]
) -> Steps:
    """Complex amplitude of those multiples of the mains in one sound, shape (steps, lines)."""
    step, length = round(STEP_S * rate_hz), round(2.0 * STEP_S * rate_hz)
    pieces = np.ascontiguousarray(np.lib.stride_tricks.sliding_window_view(sound, length)[::step])
    turn = -2j * np.pi * mains_hz / rate_hz
    powers = np.cumprod(
        np.broadcast_to(np.exp(turn * np.arange(length)), (int(lines.max()), length)), axis=0
    )
    basis = (powers[lines - 1] * taper(length)).astype(np.complex64)
    # Real and imaginary part as columns of one real product.
    z = (pieces @ basis.view(np.float32).reshape(len(lines), length, 2)).view(np.complex64)
    starts = np.exp(turn * step * np.outer(np.arange(len(pieces)), lines))
    return np.asarray(z[:, :, 0].T * starts)


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


def steps_since(z: Steps, newest: int, reach: float) -> int | None:
    """Over how many of the last steps one line stands, shape (steps,); None where there is none.

    The line is the median of the `newest` steps; it may wander with those within `reach` of it.
    """
    line = np.median(z[-newest:].real) + 1j * np.median(z[-newest:].imag)
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
