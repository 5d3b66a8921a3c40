"""Short events that belong together: the gaps of a dropout, the bursts of hash."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

from engine.model.fault_rules import BURST_GAP_S

RED_EVENTS: Final = 3
"""So many events within `BURST_GAP_S` deserve red (CONTRACT.md)."""
_KEPT: Final = 200


@dataclass(frozen=True, slots=True)
class Event:
    """One gap or burst: where it began and ended, and how deep or loud it was, dB."""

    begin_s: float
    end_s: float
    size_db: float


class Burst:
    """The events of one track that belong together; `onset_s`, `last_s` bound them."""

    def __init__(self) -> None:
        self.onset_s = float("nan")
        self.last_s = float("-inf")
        self._events: deque[Event] = deque(maxlen=_KEPT)

    def add(self, event: Event) -> None:
        """Count one in; the first after ten seconds without any begins anew."""
        if event.begin_s - self.last_s >= BURST_GAP_S:
            self._events.clear()
            self.onset_s = event.begin_s
        self._events.append(event)
        self.last_s = event.end_s

    def goes_on(self, event: Event) -> None:
        """The newest event has become longer, or began before it was known."""
        newest = self._events[-1]
        begin_s = min(newest.begin_s, event.begin_s)
        self.last_s = max(newest.end_s, event.end_s)
        self._events[-1] = Event(begin_s, self.last_s, event.size_db)
        self.onset_s = min(self.onset_s, begin_s)

    def belongs(self, begin_s: float) -> bool:
        """An event that begins then belongs to these (never where it is NaN)."""
        return begin_s - self.last_s < BURST_GAP_S

    def lately(self, now_s: float) -> list[Event]:
        """The events of the last ten seconds."""
        return [event for event in self._events if event.end_s > now_s - BURST_GAP_S]

    def is_red(self, now_s: float) -> bool:
        """Three within ten seconds."""
        return len(self._events) >= RED_EVENTS and len(self.lately(now_s)) >= RED_EVENTS
