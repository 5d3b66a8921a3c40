"""The shape of a pop: a sudden step that stays where it went; and whether it keeps a phone's time.

Model: see `crackle`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Levels, Samples
from engine.model.percentiles import median

ORDER: Final = 16
LEARN_S: Final = 0.02
GUARD_S: Final = 0.0005
"""Prediction is learned from so long to so short before the step: some periods of a voice."""
PIECES: Final = 4
"""So many pieces of that: another step in one of them is not the usual."""
WHITE: Final = 1e-6
"""So much white noise is taken along, that the equations can be solved."""
WIDTH: Final = 3
"""Samples after the step within which its error lies."""
STAYS_S: Final = (0.0001, 0.0002, 0.0003, 0.0004)
"""The second and the fourth tenth of a millisecond after the step: a low-pass has let it by, and
the shortest opening is not over."""
STAYS: Final = 0.55
"""So much of its height the step has in both: behind a low-cut of 150 Hz 0.72 (calculated)."""
ROUGH: Final = 0.15
"""From a straight line it differs by so much of its height (RMS): a burst of noise that decays in
0.2 ms by more than twice that (calculated)."""
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


def stands_out(x: Samples, at: int, times: float, rate_hz: int) -> bool:
    """Whether what lies round the step behind that sample came unforeseen, so many times the
    deviation of the errors before it."""
    lead, guard = round(LEARN_S * rate_hz), round(GUARD_S * rate_hz)
    reach = max(WIDTH, round(WIDTH * rate_hz / 48_000))
    known = x[at - lead : at + reach + 1] - x[at - lead : at - guard].mean()
    errors = np.convolve(known, prediction(known[: lead - guard]), "valid")
    before = errors[: (lead - guard - ORDER) // PIECES * PIECES].reshape(PIECES, -1)
    usual = float(np.sqrt(median(np.mean(np.square(before), axis=1))))
    return bool(np.abs(errors[lead - ORDER - reach :]).max() >= times * usual)


def step_height(x: Samples, at: int) -> float:
    """Of the step behind that sample, or of what it is with its neighbour behind a low-pass."""
    before, here, there, after = map(float, x[at - 1 : at + 3])
    steps = (there - here, after - there, there - before, after - here)
    return max(abs(step) for step in steps)


def is_rough(x: Samples, at: int, rate_hz: int) -> bool:
    """Whether what follows the step behind that sample is plainly no smooth curve (see `ROUGH`):
    the second difference of white noise is six times its power."""
    begin, end = (at + 1 + round(seconds * rate_hz) for seconds in (STAYS_S[0], STAYS_S[-1]))
    bends = np.diff(x[begin:end], n=2)
    return bool(np.mean(np.square(bends)) > 6.0 * (ROUGH * step_height(x, at)) ** 2)


def stays(x: Samples, at: int, rate_hz: int) -> bool:
    """Whether the step behind that sample is a contact's: the sound goes on as was foreseen, or is
    gone while the contact is open, and what came on top of it stays where it went."""
    lead, guard = round(LEARN_S * rate_hz), round(GUARD_S * rate_hz)
    end = 1 + round(STAYS_S[-1] * rate_hz)
    after = x[at : at + round(SWING_S * rate_hz)].astype(np.float64)
    if len(after) < end:
        return False
    known = x[at - lead : at - guard].astype(np.float64)
    middle = known.mean()
    known -= middle
    after -= middle
    if _is_held(after[:end], rate_hz) and not _rings(after, end):
        return True
    from_ = at - max(WIDTH, round(WIDTH * rate_hz / 48_000))
    before, filter_ = x[from_ - ORDER + 1 : from_ + 1] - middle, prediction(known)
    for length in (end, len(after)):
        ahead = foreseen(before, filter_, at - from_ + length)[at - from_ :]
        beyond = after[:length] - np.clip(ahead, known.min(), known.max())
        if not _is_held(beyond[:end], rate_hz):
            return False
    return not _rings(beyond, end)


def _is_held(after: Levels, rate_hz: int) -> bool:
    """Whether that stays, smoothly, on the side and near the height that it went to."""
    *early, begin, end = (1 + round(seconds * rate_hz) for seconds in STAYS_S)
    height = after * np.sign(after[begin:].sum())
    highest = height[1:].max()
    if min(height[slice(*early)].mean(), height[begin:end].mean()) < STAYS * highest:
        return False
    held = height[early[0] :]
    ramp = np.linspace(-1.0, 1.0, len(held))
    rough = held - held.mean() - ramp * (ramp @ held) / (ramp @ ramp)
    return bool(np.mean(np.square(rough)) <= (ROUGH * highest) ** 2)


def _rings(after: Levels, end: int) -> bool:
    """Whether what was held up to there comes to the other side, and not by another step."""
    height = after * np.sign(after[end - 1])
    limit = SWING * height[1:end].max()
    back = height[end - 1 : end + int(height[end - 1 :].argmin())]
    return bool(back[-1] < -limit and np.abs(np.diff(back)).max() < limit)


def prediction(x: Levels) -> Levels:
    """The filter that leaves the errors of linear prediction, the newest sample's weight first
    (covariance method: exact for a few lines, however short they are heard)."""
    rows = np.lib.stride_tricks.sliding_window_view(x, ORDER + 1)
    products = rows.T @ rows
    left = products[:ORDER, :ORDER] + (WHITE * products[ORDER, ORDER] + 1e-15) * np.eye(ORDER)
    return np.concatenate([[1.0], -np.linalg.solve(left, products[:ORDER, ORDER])[::-1]])


def foreseen(before: Levels, filter_: Levels, count: int) -> Levels:
    """What follows those samples, the newest last, if nothing new comes; `count` of them, the first
    of which is the newest known one."""
    known = np.concatenate([before, np.zeros(count - 1)])
    backward = -filter_[:0:-1]
    for n in range(len(before), len(known)):
        known[n] = backward @ known[n - ORDER : n]
    return np.asarray(known[len(before) - 1 :])


def keeps_time(step: Samples, at: int, rate_hz: int) -> bool:
    """Whether as high a step follows that one by each of some frames of a phone."""
    width = max(ROUND, round(ROUND * rate_hz / 48_000))
    places = at + np.rint(np.arange(1, FRAMES + 1) * FRAME_S * rate_hz).astype(np.int64)
    if places[-1] + width >= len(step):
        return False
    round_it = np.arange(-width, width + 1)
    highest = step[places[:, np.newaxis] + round_it].max(axis=1)
    return bool(highest.min() >= FRAME_SHARE * step[at])
