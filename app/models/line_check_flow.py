"""Which track a line check goes to when it goes by who speaks, and when it may go on. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from engine.model.line_results import Heard, LineCheck, Verdict, findings
from engine.model.messages import Kind, PackLevel
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan, Track

OVER_FLOOR_DB: Final = 15.0
"""Somebody speaks where the level is this far over the track's live floor; ours."""
ALONE_DB: Final = 6.0
"""And this much nearer to it than anybody else's loudest track; ours."""
TURN_S: Final = 1.5
"""Where something was heard of the track asked for, somebody else has to speak for so long to be
the next: longer than one word from the side; ours."""
PAUSE_S: Final = 1.0
"""A pause between words; ours."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Somebody else speaks: the first of their inputs that is left, from when to when, s."""

    number: int
    since_s: float
    last_s: float


def is_clean(heard: Heard, track: Track) -> bool:
    """Enough was heard, and nothing is wrong with it: the check may go on by itself."""
    safety = track.level is PackLevel.SAFETY
    talks = track.kind in (Kind.LAV, Kind.BOOM)
    return heard.enough and not findings(heard, safety, talks)


def left(check: LineCheck) -> tuple[int, ...]:
    """What has not passed: nothing said of it yet, failed, or skipped for now."""
    results = [(number, check.result(number)) for number in check.order]
    return tuple(n for n, r in results if r is None or r.verdict is not Verdict.PASSED)


def speaker(plan: Plan, snapshot: Snapshot, wanted: Sequence[int]) -> int | None:
    """The input of who speaks while nobody else does, main pack first; None: nobody, or several.

    wanted : inputs that still have to be checked
    """
    if snapshot.floor_dbfs is None or len(snapshot.level_dbfs) != len(plan.tracks):
        return None
    over_db = np.nan_to_num(snapshot.level_dbfs - snapshot.floor_dbfs, nan=-np.inf)
    by_who: dict[str, float] = {}
    for track, over in zip(plan.tracks, over_db.tolist(), strict=True):
        if track.kind is Kind.LAV:
            name = track.who or f"track {track.input}"
            by_who[name] = max(by_who.get(name, -np.inf), over)
    ranking = sorted(by_who.items(), key=lambda one: -one[1])
    if not ranking or ranking[0][1] < OVER_FLOOR_DB:
        return None
    if len(ranking) > 1 and ranking[0][1] - ranking[1][1] < ALONE_DB:
        return None
    mine = [t.input for t in plan.tracks if (t.who or f"track {t.input}") == ranking[0][0]]
    return next((number for number in mine if number in wanted), None)


def turn_after(turn: Turn | None, number: int | None, now_s: float) -> Turn | None:
    """Whose turn it seems to be once that input was heard alone; None for `number`: nobody was."""
    if number is None:
        return turn if turn is not None and now_s - turn.last_s <= PAUSE_S else None
    if turn is None or turn.number != number:
        return Turn(number, now_s, now_s)
    return replace(turn, last_s=now_s)


def is_their_turn(turn: Turn | None, heard: Heard) -> bool:
    """The check is to go to them: at once while nothing came from the track asked for."""
    return turn is not None and (not heard.came or turn.last_s - turn.since_s >= TURN_S)


def same_person(plan: Plan, one: int | None, other: int | None) -> bool:
    """Both inputs are packs of one performer."""
    whos = [t.who or f"track {t.input}" for t in plan.tracks if t.input in (one, other)]
    return one == other or (len(whos) == 2 and whos[0] == whos[1])
