"""Faults that begin together are told as one cause: a receiver, or the whole input.

Source: contract; that a receiver takes all of its tracks with it is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from engine.model import Kind
from engine.tracks import Track

TOGETHER_S: Final = 2.0
"""Onsets this close belong to one cause."""

WHOLE_INPUT: Final = "input"


@dataclass(frozen=True, slots=True)
class Cause:
    """What several tracks have in common, and their places."""

    name: str
    places: tuple[int, ...]


def causes(tracks: tuple[Track, ...]) -> tuple[Cause, ...]:
    """The common causes that a plan knows, the widest first; each takes two tracks or more."""
    carrying = [n for n, t in enumerate(tracks) if t.kind in (Kind.LAV, Kind.BOOM, Kind.AMBIENCE)]
    racks: dict[str, list[int]] = {}
    for place in carrying:
        if tracks[place].receiver:
            racks.setdefault(tracks[place].receiver, []).append(place)
    found = [Cause(name, tuple(places)) for name, places in racks.items()]
    if all(len(cause.places) < len(carrying) for cause in found):
        found.insert(0, Cause(WHOLE_INPUT, tuple(carrying)))
    return tuple(cause for cause in found if len(cause.places) > 1)


def begun_together(cause: Cause, onsets_s: Mapping[int, float], without: Iterable[int]) -> bool:
    """Every track of the cause that is in service failed, all within `TOGETHER_S`."""
    places = [p for p in cause.places if p not in set(without)]
    if len(places) < 2 or any(p not in onsets_s for p in places):
        return False
    times = [onsets_s[p] for p in places]
    return max(times) - min(times) <= TOGETHER_S
