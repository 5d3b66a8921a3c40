"""LTC out: frame labels to samples, for the demo take and for tests.

Source: SMPTE ST 12-1 (80 bits, binary-coded decimals with the lowest bit first, biphase mark,
polarity correction, rise time 40 µs between 10 and 90 %), as libltc's header states it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.frame_rates import FrameRate
from engine.model.units import amplitude

BITS: Final = 80
SYNC: Final = (0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 1)
"""Bits 64 to 79, the lowest first."""

RISE_S: Final = 40e-6
_RAMP_S: Final = RISE_S * math.pi / (2.0 * math.asin(0.8))
"""Whole length of a sine-shaped edge that takes `RISE_S` from 10 to 90 %."""

FIELD_BITS: Final = ((0, 4), (8, 2), (16, 4), (24, 3), (32, 4), (40, 3), (48, 4), (56, 2))
"""First bit and width: units and tens of frames, seconds, minutes, hours."""
DROP_BIT: Final = 10
USER_BITS: Final = (4, 12, 20, 28, 36, 44, 52, 60)
"""First bit of each of the eight binary groups, four bits each."""

Bits = NDArray[np.uint8]


def code_word(rate: FrameRate, frame: int, user_bits: int = 0) -> Bits:
    """The 80 bits of one frame counted from 00:00:00:00, shape (80,), the first bit first.

    The polarity correction bit (27, at 25 frames a second 59) makes the number of zeros even.
    """
    digits = [int(pair[n]) for pair in _pairs(rate.label(frame)) for n in (1, 0)]
    word = 0
    for digit, (first, _width) in zip(digits, FIELD_BITS, strict=True):
        word |= digit << first
    for group, first in enumerate(USER_BITS):
        word |= (user_bits >> 4 * group & 0xF) << first
    word |= rate.drop << DROP_BIT
    for n, bit in enumerate(SYNC):
        word |= bit << (64 + n)
    if word.bit_count() % 2:
        word |= 1 << (59 if rate.labels_per_s == 25 else 27)
    return np.array([word >> n & 1 for n in range(BITS)], dtype=np.uint8)


def _pairs(label: str) -> Sequence[str]:
    """Frames, seconds, minutes, hours."""
    return label.replace(";", ":").split(":")[::-1]


def waveform(
    words: Bits, starts: NDArray[np.float64], length: int, sample_rate_hz: int
) -> NDArray[np.float64]:
    """Biphase mark of code words, peak 1.0, shape (length,); the middle of an edge is its time.

    Parameters
    ----------
    words : shape (frames, 80)
    starts : shape (frames + 1,)
        Where each frame begins and the last one ends, in samples, between samples too.
    """
    bit = np.arange(BITS) / BITS
    spans = np.diff(starts)[:, None]
    bounds = (starts[:-1, None] + bit * spans).ravel()
    middles = (starts[:-1, None] + (bit + 0.5 / BITS) * spans)[words.astype(np.bool_)]
    edges = np.sort(np.concatenate([bounds, middles, starts[-1:]]))
    at = np.arange(length)
    after = np.searchsorted(edges, at, side="right")
    padded = np.concatenate([[-np.inf], edges, [np.inf]])
    nearest = np.minimum(at - padded[after], padded[after + 1] - at)
    ramp = _RAMP_S * sample_rate_hz
    polarity = np.where(after % 2, 1.0, -1.0)
    sounding = (after > 0) & (after < len(edges))
    return np.asarray(polarity * np.sin(np.pi * np.minimum(nearest / ramp, 0.5)) * sounding)


def ltc(
    rate: FrameRate,
    first: int,
    frames: int,
    sample_rate_hz: int,
    *,
    level_dbfs: float = -18.0,
    user_bits: int = 0,
    speed: float = 1.0,
) -> NDArray[np.float32]:
    """So many frames of LTC from frame number `first` on, shape (samples,).

    `level_dbfs` is the peak; at `speed` 1.05 the code runs 5 % fast.
    """
    words = np.array([code_word(rate, first + n, user_bits) for n in range(frames)])
    length = sample_rate_hz / float(rate.rate) / speed
    starts = np.arange(frames + 1, dtype=np.float64) * length
    sound = waveform(words, starts, round(frames * length), sample_rate_hz)
    return np.asarray(amplitude(level_dbfs) * sound, dtype=np.float32)
