"""Signs of batteries: due before the planned end of the event, or gone quicker than their fellows.

What the crew logs as fresh batteries is all that is known; the cells themselves say nothing here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from engine.model.batteries import Battery, gone_quickly, too_short
from engine.model.early_signs import EarlySign, SignEvent, SignKind

QUICK_S = 1800.0
"""So long it is worth a line that a battery went quickly. Ours."""


class BatterySigns:
    """Which of them stand, and when they began."""

    def __init__(self) -> None:
        self._standing: dict[tuple[SignKind, int], EarlySign] = {}
        self._quick_since_s: dict[tuple[int, float], float] = {}

    @property
    def standing(self) -> tuple[EarlySign, ...]:
        """The first to end first, then what went quicker."""
        return tuple(self._standing.values())

    def update(
        self, batteries: Sequence[Battery], now_s: float, end_s: float | None
    ) -> list[SignEvent]:
        """What began and what is over; `end_s` is the planned end, None where nobody said."""
        before, self._standing = self._standing, {}
        for sign in self._signs(batteries, now_s, end_s):
            key = (sign.kind, sign.tracks[0])
            began_s = before[key].since_s if key in before else sign.since_s
            self._standing[key] = replace(sign, since_s=began_s)
        fresh = [sign for key, sign in self._standing.items() if key not in before]
        over = [sign for key, sign in before.items() if key not in self._standing]
        return [
            *(SignEvent(sign, now_s, began=True) for sign in fresh),
            *(SignEvent(sign, now_s, began=False) for sign in over),
        ]

    def _signs(
        self, batteries: Sequence[Battery], now_s: float, end_s: float | None
    ) -> Iterable[EarlySign]:
        """Figures in minutes: what is left to the planned end, and of the battery; or how long the
        others lasted, and this one."""
        for one in () if end_s is None else too_short(batteries, now_s, end_s):
            left_s = one.left_s(now_s) or 0.0
            yield _sign(SignKind.BATTERY, one, now_s, ((end_s or 0.0) - now_s, left_s))
        for one, usual_s in gone_quickly(batteries, now_s):
            since_s = self._quick_since_s.setdefault((one.track, one.fresh_s), now_s)
            if now_s - since_s <= QUICK_S:
                figures = (usual_s, one.before_s or 0.0)
                yield _sign(SignKind.BATTERY_QUICK, one, since_s, figures)


def _sign(kind: SignKind, one: Battery, since_s: float, figures: tuple[float, float]) -> EarlySign:
    normal, now = (round(seconds / 60.0) for seconds in figures)
    number = -(2 * one.track + (kind is SignKind.BATTERY_QUICK))
    return EarlySign(number, kind, (one.track,), since_s, float(normal), float(now))
