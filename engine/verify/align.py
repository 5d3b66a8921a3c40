"""Places a take on a session by its sound: from the levels of all tracks alone.

Both are compared by how the level of each track moves from one tenth of a second to the next,
which neither a gain nor a steady noise changes much. Every channel of the take is held against
every track of the session at every lag (normalised cross-correlation by FFT), and a lag counts as
much as its channels' best matches do on average; so channels that are exchanged, doubled or
missing do not hide where the take belongs. Ours; the correlation is the textbook's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from engine.verify.traces import SessionTrace, TakeTrace

EXCERPTS_S: Final = (120.0, 30.0)
"""So much of a take is looked for, where it moves most; ours: more makes no difference. The short
one is for takes that skip, where no long stretch lies on the session in one piece."""

MOST_CHANNELS: Final = 8
"""So many channels of a take are looked for, those that move most."""

LEAST_MATCH: Final = 0.35
"""Mean correlation that places a take. Ours, measured: other nights' takes reach 0.25, a copy
with noise 40 dB under the voice and a millisecond off 0.8."""

CLEARLY: Final = 0.05
"""The second best place must lie this far below the best one."""

SHORTEST_S: Final = 3.0
"""A shorter take can be anywhere."""

_STEP_LIMIT_DB: Final = 20.0
_APART_S: Final = 2.0
_ALIKE: Final = 1e-6

Features = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Position:
    """Where a take begins in a session.

    start_s : session time of the take's first sample, s
    match : mean correlation of its channels there, up to 1
    """

    start_s: float
    match: float


def moves(level_dbfs: NDArray[np.floating[Any]]) -> Features:
    """How the level moves from step to step, dB, limited; 0 where unknown. One step shorter."""
    step = np.diff(level_dbfs.astype(np.float64), axis=0)
    limited: Features = np.clip(np.nan_to_num(step), -_STEP_LIMIT_DB, _STEP_LIMIT_DB)
    return limited


def find(session: SessionTrace, take: TakeTrace) -> Position | None:
    """Where the take lies in the session, to about a step of the session's levels.

    None where it lies nowhere, or could lie at several places.
    """
    levels = take.levels(0, None, round(session.step_s / take.hop_s))
    if len(levels) * session.step_s < SHORTEST_S:
        return None
    features, whole = moves(levels), moves(session.level_dbfs)
    for excerpt_s in EXCERPTS_S:
        length = round(excerpt_s / session.step_s)
        for first in _liveliest(features, length):
            found = _placed(whole, features[first : first + length], session.step_s)
            if found is not None:
                last, match = found
                start = last - (min(length, len(features)) - 1) - first
                return Position(start * session.step_s, match)
    return None


def _placed(session: Features, excerpt: Features, step_s: float) -> tuple[float, float] | None:
    """On which step of the session the excerpt's last one lies, and how well it fits there."""
    channels = np.argsort(-np.square(excerpt).sum(axis=0))[:MOST_CHANNELS]
    excerpt = excerpt[:, [c for c in channels if np.square(excerpt[:, c]).sum() > _ALIKE]]
    if not excerpt.size:
        return None
    score = _scores(session, excerpt)
    best = int(score.argmax())
    match = float(score[best])
    apart = round(_APART_S / step_s)
    others = np.concatenate([score[: max(best - apart, 0)], score[best + apart :]])
    if match < LEAST_MATCH or (others.size and match - float(others.max()) < CLEARLY):
        return None
    return best + vertex(score, best), match


def vertex(values: NDArray[np.float64], top: int) -> float:
    """Where the parabola through the top and its neighbours has its top, in steps from it."""
    if not 0 < top < len(values) - 1:
        return 0.0
    left, middle, right = (float(value) for value in values[top - 1 : top + 2])
    bend = left - 2.0 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0


def _liveliest(features: Features, length: int) -> list[int]:
    """Where the stretches of that length begin in which all channels together move most.

    The best one of each third of the take: where a file skips, some of them are whole.
    """
    if len(features) <= length:
        return [0]
    sums = np.concatenate([[0.0], np.cumsum(np.square(features).sum(axis=1), dtype=np.float64)])
    moving = sums[length:] - sums[:-length]
    parts = np.array_split(np.arange(len(moving)), min(3, len(moving)))
    firsts = [int(part[moving[part].argmax()]) for part in parts]
    return sorted(firsts, key=lambda first: -moving[first])


def _scores(session: Features, excerpt: Features) -> NDArray[np.float64]:
    """Mean over the excerpt's channels of their best correlation with a track, at every lag.

    Entry n: the excerpt's last step lies on step n of the session. A part of the excerpt may hang
    out at either end; what lies outside counts as unlike.
    """
    size = len(session) + len(excerpt) - 1
    fft = 1 << (size - 1).bit_length()
    tracks = np.fft.rfft(session, fft, axis=0)
    energy = np.cumsum(np.square(session), axis=0, dtype=np.float64)
    padded = np.concatenate([energy, np.repeat(energy[-1:], len(excerpt) - 1, axis=0)])
    inside = padded.copy()
    inside[len(excerpt) :] -= padded[: size - len(excerpt)]
    total = np.zeros(size)
    for channel in range(excerpt.shape[1]):
        wanted = excerpt[::-1, channel]
        own = float(np.square(wanted, dtype=np.float64).sum())
        spectrum = np.fft.rfft(wanted, fft)
        best = np.full(size, -1.0)
        for track in range(session.shape[1]):
            product = np.fft.irfft(tracks[:, track] * spectrum, fft)[:size]
            # At least a quarter of the excerpt's own energy, so that silence matches nothing.
            power = np.sqrt(own * np.maximum(inside[:, track], own / 4.0))
            np.maximum(best, product / power, out=best)
        total += best
    mean: NDArray[np.float64] = total / excerpt.shape[1]
    return mean
