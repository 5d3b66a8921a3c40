"""The schedule of a drill: which fault on which tracks, when and how strong, all from one seed.

Paced like a real night: calm first, single faults far apart, last two at once after the longest
calm; a receiver that goes, and a false friend (a performer who just says nothing). Common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.drill.cause import Cause
from engine.model import Kind
from engine.tracks import Track

CALM_S: Final = 12.0
"""At least so long nothing happens: floors are learned in the first 10 s."""
TAIL_S: Final = 4.0
"""The last fault is over by then, so that it can still be answered."""
LEAST_GAP_S: Final = 3.0
RECEIVER_SHARE: Final = 0.7
"""Share of the drills with room for it in which a receiver goes."""

LASTS_S: Final = {
    Cause.MUTED: (6.0, 12.0),
    Cause.DEAD_MIC: (12.0, 20.0),
    Cause.SILENT: (13.0, 24.0),
    Cause.DROPOUT: (8.0, 14.0),
    Cause.NOISE_BURST: (8.0, 14.0),
    Cause.CLIPPED: (8.0, 14.0),
    Cause.HUM: (8.0, 16.0),
    Cause.RECEIVER: (6.0, 10.0),
    Cause.NOTHING: (12.0, 24.0),
}
"""Shortest and longest of each, s: long enough for its alarm, but never long at once."""

_ANY_MIC: Final = (Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
_VOICES: Final = (Kind.LAV, Kind.BOOM)


class DrillError(ValueError):
    """No drill can be made of this take: one clear line that says what to do."""


@dataclass(frozen=True, slots=True)
class Planned:
    """One fault to put in, over [onset_s, end_s) of the take; `tracks` are input numbers."""

    number: int
    cause: Cause
    tracks: tuple[int, ...]
    onset_s: float
    end_s: float
    strength: float


@dataclass(frozen=True, slots=True)
class _Grade:
    """Acts at most, seconds of take for each, strengths, whether some come together."""

    most: int
    each_s: float
    strengths: tuple[float, float]
    doubles: int
    friends: int
    causes: tuple[Cause, ...]


_PLAIN: Final = (Cause.MUTED, Cause.DEAD_MIC)
_ALL: Final = (
    *(Cause.MUTED, Cause.DEAD_MIC, Cause.SILENT, Cause.DROPOUT),
    *(Cause.NOISE_BURST, Cause.CLIPPED, Cause.HUM),
)
GRADES: Final = {
    "easy": _Grade(5, 40.0, (0.7, 1.0), 0, 0, (*_PLAIN, Cause.DROPOUT)),
    "real": _Grade(8, 25.0, (0.4, 0.9), 1, 1, _ALL),
    "hard": _Grade(12, 18.0, (0.15, 0.6), 3, 2, _ALL),
}
LEVELS: Final = tuple(GRADES)


def schedule(
    tracks: Sequence[Track], duration_s: float, seed: int, level: str
) -> tuple[Planned, ...]:
    """All faults of that drill by onset; the same seed gives the same drill.

    Parameters
    ----------
    tracks : of the plan; talkback, timecode and unused inputs are left alone
    duration_s : length of the take, s
    level : easy, real or hard: number, strength and overlap of the faults

    No fault begins in the first `CALM_S` seconds, none outlasts the take, and no track has two at
    a time.

    Raises
    ------
    DrillError
        A take that is too short, or without a mic; a level that is none.
    """
    if level not in GRADES:
        raise DrillError(f"{level}: no such level: give one of {', '.join(LEVELS)}")
    if not any(track.kind in _VOICES for track in tracks):
        raise DrillError("no lav or boom in the plan: a drill needs one")
    rng = np.random.default_rng([seed, LEVELS.index(level)])
    calm_s = max(CALM_S, duration_s * rng.uniform(0.1, 0.2))
    room_s = duration_s - calm_s - TAIL_S
    acts = _fitting(_acts(tracks, GRADES[level], duration_s, rng), room_s)
    if not acts:
        raise DrillError(f"the take lasts {duration_s:.0f} s: a drill needs 40 s or more")
    spare_s = room_s - sum(_length(act) for act in acts) - LEAST_GAP_S * (len(acts) - 1)
    shares = rng.uniform(0.5, 1.0, len(acts) + 1)
    shares[len(acts) - 1] *= 2.0  # the longest calm before the last act
    gaps_s = shares / shares.sum() * spare_s
    planned: list[Planned] = []
    at_s = calm_s
    for act, gap_s in zip(acts, gaps_s, strict=False):
        at_s += float(gap_s)
        for part in act:
            onset_s = round(at_s + part.late_s, 2)
            end_s = round(onset_s + part.lasts_s, 2)
            one = Planned(len(planned) + 1, part.cause, part.tracks, onset_s, end_s, part.strength)
            planned.append(one)
        at_s += _length(act) + LEAST_GAP_S
    return tuple(sorted(planned, key=lambda one: one.onset_s))


@dataclass(frozen=True, slots=True)
class _Part:
    cause: Cause
    tracks: tuple[int, ...]
    late_s: float
    lasts_s: float
    strength: float


_Act = tuple[_Part, ...]


def _length(act: _Act) -> float:
    return max(part.late_s + part.lasts_s for part in act)


def _fitting(acts: list[_Act], room_s: float) -> list[_Act]:
    """As many of them as there is room for; the last one, the hardest, goes last."""
    while acts and sum(map(_length, acts)) + LEAST_GAP_S * len(acts) > room_s:
        acts = acts[1:]
    return acts


def _acts(
    tracks: Sequence[Track], grade: _Grade, duration_s: float, rng: np.random.Generator
) -> list[_Act]:
    count = int(np.clip(duration_s // grade.each_s, 1, grade.most))
    doubles = min(grade.doubles, count - 1)
    friends = min(grade.friends, max(count - 2 - doubles, 0))
    makers = ["double"] * doubles + ["friend"] * friends
    if _receivers(tracks) and len(makers) < count - 1 and rng.random() < RECEIVER_SHARE:
        makers.append("receiver")
    makers += ["single"] * (count - len(makers))
    rng.shuffle(makers)
    if doubles:  # the night ends with two at once
        makers.remove("double")
        makers.append("double")
    return [_act(kind, tracks, grade, rng) for kind in makers]


def _act(kind: str, tracks: Sequence[Track], grade: _Grade, rng: np.random.Generator) -> _Act:
    if kind == "friend":
        return (_part(Cause.NOTHING, _someone(tracks, rng), 0.0, grade, rng),)
    if kind == "receiver":
        behind = _receivers(tracks)
        chosen = behind[int(rng.integers(len(behind)))]
        return (_part(Cause.RECEIVER, chosen, 0.0, grade, rng),)
    first = _single(tracks, (), 0.0, grade, rng)
    if kind == "single" or len(_mics(tracks, _VOICES)) < 2:
        return (first,)
    return (first, _single(tracks, first.tracks, float(rng.uniform(0.2, 3.0)), grade, rng))


def _single(
    tracks: Sequence[Track],
    taken: tuple[int, ...],
    late_s: float,
    grade: _Grade,
    rng: np.random.Generator,
) -> _Part:
    cause = grade.causes[int(rng.integers(len(grade.causes)))]
    kinds = _ANY_MIC if cause in _PLAIN else _VOICES
    free = [number for number in _mics(tracks, kinds) if number not in taken]
    return _part(cause, (free[int(rng.integers(len(free)))],), late_s, grade, rng)


def _part(
    cause: Cause, numbers: tuple[int, ...], late_s: float, grade: _Grade, rng: np.random.Generator
) -> _Part:
    lasts_s = float(rng.uniform(*LASTS_S[cause]))
    return _Part(cause, numbers, late_s, lasts_s, round(float(rng.uniform(*grade.strengths)), 3))


def _mics(tracks: Sequence[Track], kinds: tuple[Kind, ...]) -> list[int]:
    return [track.input for track in tracks if track.kind in kinds]


def _someone(tracks: Sequence[Track], rng: np.random.Generator) -> tuple[int, ...]:
    """All packs of one performer."""
    packs: dict[str, list[int]] = {}
    for track in tracks:
        if track.kind in _VOICES:
            packs.setdefault(track.who or f"input {track.input}", []).append(track.input)
    return tuple(list(packs.values())[int(rng.integers(len(packs)))])


def _receivers(tracks: Sequence[Track]) -> list[tuple[int, ...]]:
    """Tracks of each receiver that has several."""
    behind: dict[str, list[int]] = {}
    for track in tracks:
        if track.receiver and track.kind in _ANY_MIC:
            behind.setdefault(track.receiver, []).append(track.input)
    return [tuple(numbers) for numbers in behind.values() if len(numbers) > 1]
