"""The shape of a pop: a sudden step that stays where it went; and whether it keeps a phone's time.

Model: see `crackle`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Samples

STAYS_S: Final = (0.0001, 0.0002, 0.0003, 0.0004)
"""The second and the fourth tenth of a millisecond after the step: a low-pass has let it by, and
the shortest opening is not over."""
STAYS: Final = 0.55
"""So much of its height the step has in both: behind a low-cut of 150 Hz 0.72 (calculated)."""
SWING_S: Final = 0.003
"""A skin or a board that rings at 300 Hz or more swings to its other side within so long,"""
SWING: Final = 0.4
"""by this share of its height and more, smoothly: behind a low-cut of second order by a fifth
(calculated), where the contact closes by a step."""
FRAME_S: Final = 0.12 / 26.0
"""A phone's bursts are a TDMA frame apart (3GPP TS 45.002: 26 frames take 120 ms; from memory)."""
FRAMES: Final = 3
FRAME_SHARE: Final = 0.5
"""So many of them follow, each with a step of this share of the first one's."""
ROUND: Final = 3
"""Samples to each side of where a frame begins, at 48 kHz."""


def is_outlier(x: Samples, at: int, before: slice, times: float, least: float) -> bool:
    """Whether the step behind that sample, or what it is with its neighbour behind a low-pass, is
    no smaller than `least` and so many times the deviation of those before it."""
    one, two = np.diff(x), x[2:] - x[:-2]
    one_rms, two_rms = (float(np.sqrt(np.mean(np.square(d[before])))) for d in (one, two))
    step, rise = abs(float(one[at])), float(np.abs(two[max(at - 1, 0) : at + 1]).max())
    return max(step, rise) >= least and (step >= times * one_rms or rise >= times * two_rms)


def stays(x: Samples, at: int, rest: float, rate_hz: int) -> bool:
    """Whether the sound stays on the side, and near the height, that the step went to, and comes to
    the other side by another step if at all."""
    *early, begin, end = (1 + round(seconds * rate_hz) for seconds in STAYS_S)
    after = x[at : at + round(SWING_S * rate_hz)] - rest
    if len(after) < end:
        return False
    height = after * np.sign(after[begin:end].sum())
    highest = height[1:end].max()
    if min(height[slice(*early)].mean(), height[begin:end].mean()) < STAYS * highest:
        return False
    back = height[end - 1 : end + int(height[end - 1 :].argmin())]
    rings = back[-1] < -SWING * highest and np.abs(np.diff(back)).max() < SWING * highest
    return not rings


def keeps_time(step: Samples, at: int, rate_hz: int) -> bool:
    """Whether as high a step follows that one by each of some frames of a phone."""
    width = max(ROUND, round(ROUND * rate_hz / 48_000))
    places = at + np.rint(np.arange(1, FRAMES + 1) * FRAME_S * rate_hz).astype(np.int64)
    if places[-1] + width >= len(step):
        return False
    round_it = np.arange(-width, width + 1)
    highest = step[places[:, np.newaxis] + round_it].max(axis=1)
    return bool(highest.min() >= FRAME_SHARE * step[at])
