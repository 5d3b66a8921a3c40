"""The schedule of a drill: which fault on which tracks, when and how strong, all from one seed.

Paced like a real night: calm first, single faults far apart, last two at once after the longest
calm; a receiver that goes, and a false friend (a performer who just says nothing). Common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from engine.drill.targets import VOICES, Target, targets_of
from engine.inject.receiver import LASTS_S as RECEIVER_LASTS_S
from engine.inject.registry import INJECTORS, limit_s
from engine.model.drill_causes import Cause
from engine.model.tracks import Track

CALM_S: Final = 12.0
"""At least so long nothing happens: floors are learned in the first 10 s."""
TAIL_S: Final = 4.0
"""The last fault is over by then, so that it can still be answered."""
LEAST_GAP_S: Final = 3.0
RECEIVER_SHARE: Final = 0.7
"""Share of the drills with room for it in which a receiver goes."""

SAYS_NOTHING_S: Final = (12.0, 24.0)
"""How long a performer who just says nothing does so."""
SLOW_TAKE_S: Final = 480.0
"""In takes so long something fails slowly as well: its track's normal is known by then."""
SLOW_AFTER_S: Final = 200.0
SLOW_MOST_S: Final = 600.0
SLOW_SHARE: Final = 0.7
"""Share of the drills with room for it in which something fails slowly. Ours."""
_SLOW: Final = (Cause.FADING, Cause.CREEPING)

LONGEST: Final = 1.0 / 6.0
"""No fault lasts longer than this share of the take, unless its alarm needs it to."""
NEEDED: Final = 1.0 / 4.0
"""One whose alarm needs more than this share of the take is left out."""
TO_ANSWER_S: Final = 3.0
"""A fault lasts so much longer than its alarm takes to come."""
SPEECH_SHARE: Final = 1.0 / 3.0
"""A performer speaks so much of the time; common practice, no source."""


class DrillError(ValueError):
    """No drill can be made of this take: one clear line that says what to do."""


@dataclass(frozen=True, slots=True)
class Planned:
    """One fault to put in, over [onset_s, end_s) of the take; `tracks`, `source`: see `Target`."""

    number: int
    cause: Cause
    tracks: tuple[int, ...]
    onset_s: float
    end_s: float
    strength: float
    source: int = 0


@dataclass(frozen=True, slots=True)
class _Grade:
    """Acts at most, seconds of take for each, strengths, whether some come together."""

    most: int
    each_s: float
    strengths: tuple[float, float]
    doubles: int
    friends: int
    causes: tuple[Cause, ...]
    slow: bool = True


_ALL: Final = (
    *(Cause.MUTED, Cause.DEAD_MIC, Cause.SILENT, Cause.DROPOUT, Cause.NOISE_BURST),
    *(Cause.CLIPPED, Cause.HUM, Cause.POLARITY, Cause.PAIR_DRIFT, Cause.DUPLICATE),
    *(Cause.UNEXPECTED, Cause.TIMECODE, Cause.STUCK, Cause.CRACKLE, Cause.NOISE, Cause.TONE),
    *(Cause.DC, Cause.SWAPPED, Cause.CLOCK),
)
"""`low` is none of them: a gain that falls in mid-take is `silent` first, and one that was never
set would have to be wrong from the first second on."""
GRADES: Final = {
    "easy": _Grade(5, 40.0, (0.7, 1.0), 0, 0, (Cause.MUTED, Cause.DEAD_MIC, Cause.DROPOUT), False),
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
    tracks : of the plan; talkback is left alone
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
    if not any(track.kind in VOICES for track in tracks):
        raise DrillError("no lav or boom in the plan: a drill needs one")
    slow = _slow(tracks, GRADES[level], duration_s, [seed, LEVELS.index(level), len(LEVELS)])
    busy = {number for one in slow for number in one.tracks}
    rng = np.random.default_rng([seed, LEVELS.index(level)])
    calm_s = max(CALM_S, duration_s * rng.uniform(0.1, 0.2))
    room_s = duration_s - calm_s - TAIL_S
    acts = _acts(tracks, busy, GRADES[level], duration_s, rng) if room_s > 0.0 else []
    acts = _pairs_learned_first(_fitting(acts, room_s))
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
            planned.append(_planned(len(planned) + 1, part, onset_s, end_s))
        at_s += _length(act) + LEAST_GAP_S
    planned += [replace(one, number=len(planned) + 1) for one in slow]
    return tuple(sorted(planned, key=lambda one: one.onset_s))


def _slow(
    tracks: Sequence[Track], grade: _Grade, duration_s: float, seeds: list[int]
) -> tuple[Planned, ...]:
    """What fails over minutes beside all else, on a track of its own: one at most."""
    targets = targets_of(Cause.FADING, tracks)
    if not grade.slow or duration_s < SLOW_TAKE_S or len(targets) < 2:
        return ()
    rng = np.random.default_rng(seeds)
    if rng.random() >= SLOW_SHARE:
        return ()
    cause = _SLOW[int(rng.integers(len(_SLOW)))]
    target = targets[int(rng.integers(len(targets)))]
    lasts_s = min(SLOW_MOST_S, 0.5 * duration_s)
    latest_s = duration_s - TAIL_S - lasts_s
    onset_s = round(float(rng.uniform(min(SLOW_AFTER_S, latest_s), latest_s)), 2)
    strength = round(float(rng.uniform(*grade.strengths)), 3)
    return (Planned(0, cause, target.tracks, onset_s, onset_s + lasts_s, strength),)


_LEARNED_FIRST: Final = (Cause.PAIR_DRIFT, Cause.SWAPPED)


@dataclass(frozen=True, slots=True)
class _Part:
    cause: Cause
    target: Target
    late_s: float
    lasts_s: float
    strength: float


_Act = tuple[_Part, ...]


def _planned(number: int, part: _Part, onset_s: float, end_s: float) -> Planned:
    target = part.target
    return Planned(number, part.cause, target.tracks, onset_s, end_s, part.strength, target.source)


def _length(act: _Act) -> float:
    return max(part.late_s + part.lasts_s for part in act)


def _fitting(acts: list[_Act], room_s: float) -> list[_Act]:
    """As many of them as there is room for; the last one, the hardest, goes last."""
    while acts and sum(map(_length, acts)) + LEAST_GAP_S * len(acts) > room_s:
        acts = acts[1:]
    return acts


def _pairs_learned_first(acts: list[_Act]) -> list[_Act]:
    """What a pair or a voice is like must be learned before it changes: never the first act."""
    while acts and any(part.cause in _LEARNED_FIRST for part in acts[0]):
        later = [act for act in acts[1:-1] if all(p.cause not in _LEARNED_FIRST for p in act)]
        if later:
            other = acts.index(later[0])
            acts[0], acts[other] = acts[other], acts[0]
        else:
            acts = acts[1:]
    return acts


def _acts(
    tracks: Sequence[Track],
    busy: Collection[int],
    grade: _Grade,
    duration_s: float,
    rng: np.random.Generator,
) -> list[_Act]:
    count = int(np.clip(duration_s // grade.each_s, 1, grade.most))
    doubles = min(grade.doubles, count - 1)
    friends = min(grade.friends, max(count - 2 - doubles, 0))
    makers = ["double"] * doubles + ["friend"] * friends
    deck = _Deck(tracks, busy, grade, duration_s, rng)
    friends *= deck.has(Cause.NOTHING)
    goes = deck.has(Cause.RECEIVER) and len(makers) < count - 1
    if goes and rng.random() < RECEIVER_SHARE:
        makers.append("receiver")
    makers += ["single"] * (count - len(makers))
    rng.shuffle(makers)
    if doubles:  # the night ends with two at once
        makers.remove("double")
        makers.append("double")
    return [deck.act(kind) for kind in makers]


class _Deck:
    """Draws acts for one drill."""

    def __init__(
        self,
        tracks: Sequence[Track],
        busy: Collection[int],
        grade: _Grade,
        duration_s: float,
        rng: np.random.Generator,
    ) -> None:
        self._grade, self._duration_s, self._rng = grade, duration_s, rng
        self._targets = {
            cause: [t for t in targets_of(cause, tracks) if not {*t.tracks, *t.beside} & {*busy}]
            for cause in Cause
        }
        self._singles = [c for c in grade.causes if least_s(c) <= NEEDED * duration_s]

    def has(self, cause: Cause) -> bool:
        """There is a track for it."""
        return bool(self._targets[cause])

    def act(self, kind: str) -> _Act:
        """One act of that kind; two at once where the plan has tracks for two."""
        if kind in _WHOLE:
            return (self._part(_WHOLE[kind], self._targets[_WHOLE[kind]], 0.0),)
        first = self._single((), 0.0)
        assert first is not None, "any mic can mute"
        if kind == "single":
            return (first,)
        taken = (*first.target.tracks, *first.target.beside)
        second = self._single(taken, float(self._rng.uniform(0.2, 3.0)))
        return (first,) if second is None else (first, second)

    def _single(self, taken: tuple[int, ...], late_s: float) -> _Part | None:
        free = {
            cause: [p for p in self._targets[cause] if not {*p.tracks, *p.beside} & {*taken}]
            for cause in self._singles
        }
        causes = [cause for cause, targets in free.items() if targets]
        if not causes:
            return None
        cause = causes[int(self._rng.integers(len(causes)))]
        return self._part(cause, free[cause], late_s)

    def _part(self, cause: Cause, free: Sequence[Target], late_s: float) -> _Part:
        target = free[int(self._rng.integers(len(free)))]
        most_s = max(least_s(cause), LONGEST * self._duration_s)
        lasts_s = min(float(self._rng.uniform(*_lasts_s(cause))), most_s)
        strength = round(float(self._rng.uniform(*self._grade.strengths)), 3)
        return _Part(cause, target, late_s, lasts_s, strength)


_WHOLE: Final = {"friend": Cause.NOTHING, "receiver": Cause.RECEIVER}


def least_s(cause: Cause) -> float:
    """So long a fault must last for its alarm to come and to be answered, s."""
    if cause.fault is None:
        return SAYS_NOTHING_S[0]
    row = INJECTORS[cause.fault]
    return max(limit_s(row.amber) + TO_ANSWER_S, limit_s(row.speech_s) / SPEECH_SHARE)


def _lasts_s(cause: Cause) -> tuple[float, float]:
    """Shortest and longest of that cause, where the take has room for it."""
    if cause is Cause.NOTHING:
        return SAYS_NOTHING_S
    if cause is Cause.RECEIVER:
        return RECEIVER_LASTS_S
    assert cause.fault is not None
    least = least_s(cause)
    return INJECTORS[cause.fault].lasts_s or (least, 1.5 * least)
