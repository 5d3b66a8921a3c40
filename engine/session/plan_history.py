"""The plans a watch went by, one after the other: what happened keeps the names it had then."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from engine.model.tracks import Plan, Track


@dataclass(frozen=True, slots=True)
class PlanHistory:
    """At least one plan, with the stream time from which each holds; the first from the start."""

    versions: tuple[tuple[float, Plan], ...]

    def at(self, at_s: float) -> Plan:
        """The plan in force at that stream time."""
        starts = [from_s for from_s, _ in self.versions]
        return self.versions[max(bisect_right(starts, at_s) - 1, 0)][1]

    def track(self, number: int, at_s: float) -> Track | None:
        """That input as it was planned then, else in the newest plan that has it."""
        plans = (self.at(at_s), *(plan for _, plan in reversed(self.versions)))
        tracks = (track for plan in plans for track in plan.tracks if track.input == number)
        return next(tracks, None)

    def changes(self) -> Sequence[tuple[float, str]]:
        """When a later plan began to hold, and which tracks it named or kitted otherwise."""
        lines = []
        for (_, before), (from_s, after) in pairwise(self.versions):
            old = {track.input: track for track in before.tracks}
            moved = [
                f"input {track.input} {_words(old[track.input])} became {_words(track)}"
                for track in after.tracks
                if track.input in old and _words(old[track.input]) != _words(track)
            ]
            lines.append((from_s, "; ".join(moved)))
        return lines


def _words(track: Track) -> str:
    parts = [f"“{track.label}”", track.who, track.kind.value]
    parts += [f"pack {track.pack}" if track.pack else "", track.placement]
    return " ".join(part for part in parts if part)
