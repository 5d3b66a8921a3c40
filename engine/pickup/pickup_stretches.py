"""Ten seconds of one performer on one track in a row of the log: for lining up after the event."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from statistics import median
from typing import Final

from engine.model.pickups import Pickup
from engine.pickup.sighting import Sighting

STRETCH_S: Final = 10.0


class StretchRecorder:
    """Gathers seconds into stretches on a fixed grid."""

    def __init__(self) -> None:
        self._number = 0
        self._seen: defaultdict[tuple[str, int], list[Sighting]] = defaultdict(list)
        self._ready: list[Pickup] = []

    def add(self, who: str, at_s: float, seen: Sequence[Sighting]) -> None:
        """A second of that performer's speech alone, and the tracks that heard it."""
        number = int((at_s - 1e-6) // STRETCH_S)
        if number != self._number:
            self._close()
            self._number = number
        for one in seen:
            self._seen[who, one.track].append(one)

    def _close(self) -> None:
        for (who, track), seen in self._seen.items():
            figures = (median(s.over_db for s in seen), median(s.gain_db for s in seen))
            delay_s = median(s.delay_s for s in seen)
            self._ready.append(Pickup(who, track, *figures, delay_s, len(seen), seen[-1].at_s))
        self._seen.clear()

    def take(self) -> list[Pickup]:
        """Stretches that are over since the last call; `last_s` tells which ten seconds."""
        ready, self._ready = self._ready, []
        return ready

    def finish(self) -> None:
        """The stretch that runs is over, too."""
        self._close()
