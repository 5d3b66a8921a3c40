"""Which alarms the desktop has been told of, and which are news. Pure; no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from app.models.alarm_card import Card
from engine.model.messages import AlarmState, Severity

News = tuple[Card, list[Card]]
"""The worst alarm that nobody has seen, and what came since besides it."""

NONE: Final = 0


class UnseenAlarms:
    """Told all cards, worst first, says what is to be shown: always the worst, so that no lesser
    alarm takes a red's place."""

    def __init__(self) -> None:
        self._shown: dict[tuple[int, ...], Severity] = {}

    def news(self, cards: Sequence[Card]) -> News | None:
        """What is to be shown now; None where nothing is new, or nothing waits to be seen."""
        unseen = [c for c in cards if c.state is AlarmState.UNACKNOWLEDGED and c.severity]
        fresh = [c for c in unseen if (c.severity or NONE) > self._shown.get(c.key, NONE)]
        self._shown = {c.key: c.severity for c in unseen if c.severity}
        return (unseen[0], [c for c in fresh if c is not unseen[0]]) if fresh else None

    @property
    def waits(self) -> bool:
        """An alarm waits to be seen."""
        return bool(self._shown)
