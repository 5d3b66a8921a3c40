"""Faults that begin together are told as one cause: a receiver, or the whole input.

Source: CONTRACT.md; that a receiver takes all of its tracks with it is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from engine.model.messages import Kind
from engine.model.tracks import Track

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


def begun_together(spans_s: Sequence[tuple[float, float]]) -> bool:
    """Faults that last (from, until) began within `TOGETHER_S`, and all stood at one time."""
    first_s, last_s = min(span[0] for span in spans_s), max(span[0] for span in spans_s)
    return last_s - first_s <= TOGETHER_S and last_s <= min(span[1] for span in spans_s)
