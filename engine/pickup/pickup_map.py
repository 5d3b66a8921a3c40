"""Who was heard on which track in the last minutes, second by second, and the best of it."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Collection, Sequence
from statistics import median
from typing import Final

from engine.model.pickups import SURE_S, Pickup
from engine.pickup.sighting import Sighting

MEMORY_S: Final = 120.0
RECENT_S: Final = 30.0
"""The last that was heard says most: booms and people move."""
RECENT_SECONDS: Final = SURE_S
"""Who spoke less in that time is judged by so many of their last seconds, however long ago within
the memory: a word in between makes nobody unheard."""

LEAST_SHARE: Final = 0.4
"""Heard in fewer of the seconds in which the performer spoke alone is not heard."""

ALIKE_DB: Final = 3.0
"""Between tracks this close in clearness the nearer mic is the drier one. Ours."""

LEAST_SECONDS: Final = 2
LEAST_DB: Final = 2.0
"""A voice no louder than this over a track's own sound is of no use to anybody."""


class PickupMap:
    """What is remembered, by performer; tracks go by their input number, so a plan may change."""

    def __init__(self) -> None:
        self._spoken: defaultdict[str, deque[float]] = defaultdict(deque)
        self._seen: defaultdict[str, deque[Sighting]] = defaultdict(deque)
        self.on_second: Callable[[str, float, Sequence[Sighting]], None] = lambda *_: None

    def add(self, who: str, at_s: float, seen: Sequence[Sighting]) -> None:
        """A second of that performer's speech alone, and the tracks that heard it."""
        self.on_second(who, at_s, seen)
        self._spoken[who].append(at_s)
        self._seen[who].extend(seen)
        self._drop_old(who, at_s)

    def _drop_old(self, who: str, now_s: float) -> None:
        spoken, seen = self._spoken[who], self._seen[who]
        while spoken and spoken[0] < now_s - MEMORY_S:
            spoken.popleft()
        while seen and seen[0].at_s < now_s - MEMORY_S:
            seen.popleft()

    def pickups(self, who: str, now_s: float, but: Collection[int] = ()) -> tuple[Pickup, ...]:
        """All other tracks that heard them: the clearest first, the nearest of those alike."""
        self._drop_old(who, now_s)
        by_track: defaultdict[int, list[Sighting]] = defaultdict(list)
        for one in self._seen[who]:
            if one.track not in but:
                by_track[one.track].append(one)
        spoken = self._spoken[who]
        made = (_summary(who, seen, spoken) for seen in by_track.values())
        fit = (pickup for pickup in made if pickup is not None)
        clearest = sorted(fit, key=lambda p: -p.over_db)
        alike = [p for p in clearest if p.over_db >= clearest[0].over_db - ALIKE_DB]
        return (*sorted(alike, key=lambda p: p.delay_s), *clearest[len(alike) :])

    def best(self, who: str, now_s: float, but: Collection[int] = ()) -> Pickup | None:
        """The clearest of them; None where nobody heard them."""
        return next(iter(self.pickups(who, now_s, but)), None)


def _summary(who: str, seen: Sequence[Sighting], spoken: Sequence[float]) -> Pickup | None:
    """Of one track: the medians of its last seconds, if it heard enough of what was spoken."""
    since_s = min(spoken[-1] - RECENT_S, spoken[-min(RECENT_SECONDS, len(spoken))])
    recent = [one for one in seen if one.at_s >= since_s]
    chances = sum(at_s >= since_s for at_s in spoken)
    if len(recent) < LEAST_SECONDS or len(recent) < LEAST_SHARE * chances:
        return None
    over_db = median(one.over_db for one in recent)
    if over_db < LEAST_DB:
        return None
    return Pickup(
        who,
        seen[0].track,
        over_db,
        median(one.gain_db for one in recent),
        median(one.delay_s for one in recent),
        len(seen),
        seen[-1].at_s,
    )
