"""The rows that a new plan begins with: so many performers, booms and the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from engine.plan.edit import ORDER

Rows = list[list[str]]
KEYS: Final = ORDER[:5]
"""What stands in a row, in the order of a plan: input, name, kind, who, level."""


@dataclass(frozen=True, slots=True)
class TrackCounts:
    """How many of each; `packs` is 1 or 2 for each performer."""

    performers: int = 4
    packs: int = 2
    booms: int = 2
    ambience: int = 1
    talkback: int = 1
    timecode: int = 0

    @property
    def total(self) -> int:
        """How many tracks that makes."""
        more = self.booms + self.ambience + self.talkback + self.timecode
        return self.performers * self.packs + more

    def rows(self, names: Sequence[str] = ()) -> Rows:
        """One row a track on inputs from 1 on; performers without a name get a number."""
        tracks: list[tuple[str, str, str, str]] = []
        for n in range(1, self.performers + 1):
            who = names[n - 1] if n <= len(names) else f"Performer {n}"
            if self.packs == 1:
                tracks.append((who, "lav", who, ""))
            else:
                tracks += [(f"{who} {level}", "lav", who, level) for level in ("main", "safety")]
        tracks += [(name, "boom", "Booms", "") for name in _numbered("Boom", self.booms)]
        sides = ["Ambience left", "Ambience right"]
        ambience = sides if self.ambience == 2 else _numbered("Ambience", self.ambience)
        tracks += [(name, "ambience", "", "") for name in ambience]
        tracks += [(name, "comms", "", "") for name in _numbered("Talkback", self.talkback)]
        tracks += [(name, "timecode", "", "") for name in _numbered("Timecode", self.timecode)]
        return [[str(n), *track] for n, track in enumerate(tracks, start=1)]


def _numbered(word: str, count: int) -> list[str]:
    """One alone has no number."""
    return [word] if count == 1 else [f"{word} {n}" for n in range(1, count + 1)]


def names_in(words: str) -> list[str]:
    """The names in a line with commas between."""
    return [" ".join(name.split()) for name in words.split(",") if name.strip()]


TEMPLATES: Final[tuple[tuple[str, TrackCounts], ...]] = (
    ("12 tracks: 4 performers in pairs, 2 booms, ambience, talkback", TrackCounts()),
    (
        "16 tracks: 5 performers in pairs, 2 booms, stereo ambience, talkback, timecode",
        TrackCounts(performers=5, ambience=2, timecode=1),
    ),
    (
        "8 tracks: 3 performers in pairs, boom, timecode",
        TrackCounts(performers=3, booms=1, ambience=0, talkback=0, timecode=1),
    ),
)
"""Name and counts of each."""
