"""The shape of a pop: a sudden step that stays where it went.

Model: see `crackle`.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np

from engine.model.messages import Levels, Samples
from engine.model.percentiles import median

ORDER: Final = 16
LEARN_S: Final = 0.02
GUARD_S: Final = 0.0005
"""Prediction is learned from so long to so short before the step: some periods of a voice."""
PIECES: Final = 4
"""So many pieces of that: another step in one of them is not the usual."""
WHITE: Final = 1e-3
"""So much white noise is taken along, that the equations can be solved."""
WIDTH: Final = 3
"""Samples after the step within which its error lies."""
SHARE: Final = 0.5
"""Of the bends within 0.4 ms from it on, it holds this share: a plosive comes in a millisecond, a
stroke rings."""
CHATTER: Final = 0.4
"""While a contact bounces its steps are so high, against the first."""
SLOWEST_HZ: Final = 32_000
"""At lower rates as many samples are looked at as at this one."""
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


class Forecast(NamedTuple):
    """What the sound before a step foretells.

    known, middle : the stretch that it was learned from, about its mean, and that mean
    filter_ : as of `prediction`; reach : samples within which a step lies
    """

    known: Levels
    middle: float
    filter_: Levels
    reach: int


def forecast(x: Samples, at: int, rate_hz: int) -> Forecast:
    """Learn it for the step behind that sample."""
    known = x[at - round(LEARN_S * rate_hz) : at - round(GUARD_S * rate_hz)].astype(np.float64)
    middle = float(known.mean())
    known -= middle
    return Forecast(known, middle, prediction(known), step_reach(rate_hz))


def step_reach(rate_hz: int) -> int:
    """Samples that a step behind a low-pass takes."""
    return max(WIDTH, round(WIDTH * rate_hz / 48_000))


def stands_out(x: Samples, at: int, before: Forecast, times: float) -> bool:
    """Whether what lies round the step behind that sample came unforeseen, so many times the
    deviation of the errors before it."""
    reach = before.reach
    usual = np.convolve(before.known, before.filter_, "valid")
    pieces = usual[: len(usual) // PIECES * PIECES].reshape(PIECES, -1)
    limit = times * math.sqrt(median(np.einsum("ij,ij->i", pieces, pieces)) / pieces.shape[1])
    round_it = x[at - reach - ORDER : at + reach + 1] - before.middle
    return bool(np.abs(np.convolve(round_it, before.filter_, "valid")).max() >= limit)


def step_height(x: Samples, at: int) -> float:
    """Of the step behind that sample, or of what it is with its neighbour behind a low-pass."""
    before, here, there, after = map(float, x[at - 1 : at + 3])
    steps = (there - here, after - there, there - before, after - here)
    return max(abs(step) for step in steps)


def is_sudden(x: Samples, at: int, rate_hz: int) -> bool:
    """Whether the step behind that sample holds most of the bends within 0.4 ms from it on."""
    reach = step_reach(rate_hz)
    end = at + max(round(STAYS_S[-1] * rate_hz), 3 * reach)
    bends = np.square(np.diff(x[at - reach : end + 2], n=2))
    return bool(bends[: 2 * reach + 1].sum() >= SHARE * bends.sum())


def last_step(x: Samples, at: int, rate_hz: int) -> int:
    """Where the last step begins that is nearly as high as the one behind that sample, while a
    contact bounces."""
    steps = np.abs(np.diff(x[at : at + round(STAYS_S[-1] * rate_hz) + 1]))
    high = np.flatnonzero(steps >= CHATTER * steps.max())
    apart = np.flatnonzero(np.diff(high) > 1)
    return at + int(high[apart[-1] + 1] if len(apart) else 0)


def stays(x: Samples, at: int, last: int, before: Forecast, rate_hz: int) -> bool:
    """Whether the steps behind those samples are a contact's: the sound goes on as was foreseen
    before the first, or is gone while the contact is open, and what came on top of it stays where
    the last went."""
    rate_hz = max(rate_hz, SLOWEST_HZ)
    end = 1 + round(STAYS_S[-1] * rate_hz)
    after = x[last : last + round(SWING_S * rate_hz)].astype(np.float64)
    if len(after) < end:
        return False
    jump = abs(float(after[before.reach + 1] - after[0]))
    after -= before.middle
    held = after[1 + round(STAYS_S[0] * rate_hz) : end]
    if np.ptp(held) < ROUGH * jump and np.abs(held).max() < STAYS * jump:
        return False  # it is cut off: no bias holds it anywhere
    if _is_held(after[:end], jump, rate_hz) and not _rings(after, end):
        return True
    known = before.known
    from_ = at - before.reach
    newest = x[from_ - ORDER + 1 : from_ + 1].astype(np.float64) - before.middle
    for length in (end, len(after)):
        ahead = foreseen(newest, before.filter_, last - from_ + length)[last - from_ :]
        beyond = after[:length] - np.clip(ahead, known.min(), known.max())
        if not _is_held(beyond[:end], jump, rate_hz):
            return False
    return not _rings(beyond, end)


def _is_held(after: Levels, jump: float, rate_hz: int) -> bool:
    """Whether that stays, smoothly, on the side and near the height that it went to at once."""
    *early, begin, end = (1 + round(seconds * rate_hz) for seconds in STAYS_S)
    height = after * np.sign(after[begin:].sum())
    highest = height[1:].max()
    if min(jump, height[slice(*early)].mean(), height[begin:end].mean()) < STAYS * highest:
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
