"""How long packs' batteries last: words of the plan to seconds, and what is left. Pure arithmetic.

That a pack is changed at a break rather than in a scene, and what is warned of when, is common
practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final

_WORDS: Final = re.compile(
    r"(?:(?P<hours>[0-9]{1,2})h(?P<rest>[0-5][0-9])?|(?P<minutes>[0-9]{1,4})min)"
)

_TIME: Final = re.compile(r"(?P<hour>[01]?[0-9]|2[0-3]):(?P<minute>[0-5][0-9])")
_DAY_S: Final = 86_400.0

WARN_S: Final = 20 * 60.0
"""A battery is told of this long before its end."""

AHEAD_S: Final = 3600.0
"""So long before its end a battery that will not last to the planned end is an early sign. Ours."""

QUICKER: Final = 0.75
"""A battery that lasted a smaller share of what its fellows did went quicker than they. Ours."""

FELLOWS: Final = 3
"""So many of them tell what is usual."""

BREAK_S: Final = 2 * 3600.0
"""In a break, batteries that end within this time are to be changed: the next may be that far."""


@dataclass(frozen=True, slots=True)
class Battery:
    """A fresh battery, put into the pack of the track on that input at stream time `fresh_s`.

    `lasts_s` is None where nobody said how long it lasts; `before_s` is how long the one before it
    was in, None where there was none.
    """

    track: int
    fresh_s: float
    lasts_s: float | None = None
    before_s: float | None = None

    def age_s(self, now_s: float) -> float:
        """How long it has been in."""
        return max(now_s - self.fresh_s, 0.0)

    def left_s(self, now_s: float) -> float | None:
        """What is left of it, 0 once it is over; None where unknown."""
        if self.lasts_s is None:
            return None
        return max(self.fresh_s + self.lasts_s - now_s, 0.0)


def lasts_s(words: str) -> float | None:
    """Seconds that '4h', '3h30' or '90min' stand for; None for anything else, or no time at all."""
    match = _WORDS.fullmatch(words.strip())
    if match is None:
        return None
    hours, rest, minutes = (int(match[name] or 0) for name in ("hours", "rest", "minutes"))
    return (60.0 * (60 * hours + rest + minutes)) or None


def time_of_day_s(words: str) -> float | None:
    """Seconds since midnight of 23:30 or 0:15; None for anything else."""
    match = _TIME.fullmatch(words.strip())
    return None if match is None else 3600.0 * int(match["hour"]) + 60.0 * int(match["minute"])


def planned_end_s(ends: str, midnight_s: float, now_s: float) -> float | None:
    """Stream time of the planned end, the next one of that time of day; None where nobody said.

    midnight_s : time since midnight of stream time 0

    Half a day after it, it was the last night's.
    """
    wanted_s = time_of_day_s(ends)
    if wanted_s is None:
        return None
    ahead_s = (wanted_s - midnight_s - now_s + _DAY_S / 2.0) % _DAY_S - _DAY_S / 2.0
    return now_s + ahead_s


def put_in(batteries: Sequence[Battery], fresh: Battery) -> tuple[Battery, ...]:
    """The batteries with that one in the place of its track's, in input order."""
    old = next((one for one in batteries if one.track == fresh.track), None)
    if old is not None:
        fresh = replace(fresh, before_s=old.age_s(fresh.fresh_s))
    others = [one for one in batteries if one.track != fresh.track]
    return tuple(sorted([*others, fresh], key=lambda one: one.track))


def ending(batteries: Iterable[Battery], now_s: float, within_s: float) -> tuple[Battery, ...]:
    """Those that end within that time or are over, the first to end first."""
    times_left = [(b.left_s(now_s), b) for b in batteries]
    soon = [(left_s, b.track, b) for left_s, b in times_left if left_s is not None]
    return tuple(b for left_s, _, b in sorted(soon, key=lambda s: s[:2]) if left_s <= within_s)


def too_short(batteries: Iterable[Battery], now_s: float, end_s: float) -> tuple[Battery, ...]:
    """Those due before `end_s` that end within the hour, the first to end first."""
    soon = ending(batteries, now_s, AHEAD_S)
    return tuple(b for b in soon if now_s + (b.left_s(now_s) or 0.0) < end_s)


def gone_quickly(batteries: Sequence[Battery], now_s: float) -> tuple[tuple[Battery, float], ...]:
    """Packs whose last battery went quicker than those of their fellows, and what theirs lasted, s.

    What a fellow's lasted is the longest it had one in, so far; at least `FELLOWS` tell.
    """
    found = []
    for one in batteries:
        if one.before_s is None:
            continue
        others = [max(b.before_s or 0.0, b.age_s(now_s)) for b in batteries if b.track != one.track]
        usual_s = median(others) if len(others) >= FELLOWS else 0.0
        if one.before_s < QUICKER * usual_s:
            found.append((one, usual_s))
    return tuple(found)
