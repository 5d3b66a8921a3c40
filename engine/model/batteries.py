"""How long packs' batteries last: words of the plan to seconds, and what is left. Pure arithmetic.

That a pack is changed at a break rather than in a scene, and what is warned of when, is common
practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

_WORDS: Final = re.compile(
    r"(?:(?P<hours>[0-9]{1,2})h(?P<rest>[0-5][0-9])?|(?P<minutes>[0-9]{1,4})min)"
)

WARN_S: Final = 20 * 60.0
"""A battery is told of this long before its end."""

BREAK_S: Final = 2 * 3600.0
"""In a break, batteries that end within this time are to be changed: the next may be that far."""


@dataclass(frozen=True, slots=True)
class Battery:
    """A fresh battery, put into the pack of the track on that input at stream time `fresh_s`.

    `lasts_s` is None where nobody said how long it lasts.
    """

    track: int
    fresh_s: float
    lasts_s: float | None = None

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


def put_in(batteries: Iterable[Battery], fresh: Battery) -> tuple[Battery, ...]:
    """The batteries with that one in the place of its track's, in input order."""
    others = [one for one in batteries if one.track != fresh.track]
    return tuple(sorted([*others, fresh], key=lambda one: one.track))


def ending(batteries: Iterable[Battery], now_s: float, within_s: float) -> tuple[Battery, ...]:
    """Those that end within that time or are over, the first to end first."""
    times_left = [(b.left_s(now_s), b) for b in batteries]
    soon = [(left_s, b.track, b) for left_s, b in times_left if left_s is not None]
    return tuple(b for left_s, _, b in sorted(soon, key=lambda s: s[:2]) if left_s <= within_s)
