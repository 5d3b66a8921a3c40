"""Main and safety of one performer: who is covered, and by which pack.

A pack is a lav with a `who`. It is healthy while no fault that spoils its audio stands on it.
"""

from __future__ import annotations

from collections.abc import Collection

from engine.model.messages import Kind, PackLevel
from engine.model.snapshot import Cover
from engine.model.tracks import Track


class Coverage:
    """The packs of each `who`, and how they cover each other."""

    def __init__(self, tracks: tuple[Track, ...]) -> None:
        self._tracks = tracks
        self._packs: dict[str, tuple[int, ...]] = {}
        for index, track in enumerate(tracks):
            if track.who and track.kind is Kind.LAV:
                self._packs[track.who] = (*self._packs.get(track.who, ()), index)

    def cover_of(self, track_index: int, spoiled: Collection[int]) -> int | None:
        """Input number of the healthy pack that covers that track's performer, or None."""
        packs = self._packs.get(self._tracks[track_index].who, ())
        if track_index not in packs:
            return None
        healthy = [p for p in packs if p != track_index and p not in spoiled]
        return self._tracks[self._best(healthy)].input if healthy else None

    def is_uncovered(self, track_index: int, spoiled: Collection[int]) -> bool:
        """Every pack of that track's performer is spoiled."""
        packs = self._packs.get(self._tracks[track_index].who, ())
        return track_index in packs and all(p in spoiled for p in packs)

    def covers(self, spoiled: Collection[int]) -> tuple[Cover, ...]:
        """How each `who` stands, in plan order."""
        result = []
        for who, packs in self._packs.items():
            healthy = [p for p in packs if p not in spoiled]
            use = self._tracks[self._best(healthy)].input if healthy else None
            result.append(Cover(who, self._inputs(packs), self._inputs(healthy), use))
        return tuple(result)

    def _inputs(self, track_indices: Collection[int]) -> tuple[int, ...]:
        return tuple(self._tracks[p].input for p in track_indices)

    def _best(self, track_indices: list[int]) -> int:
        """The main before the safety: its gain is the one meant to be used."""
        return min(track_indices, key=lambda p: (self._tracks[p].level is PackLevel.SAFETY, p))
