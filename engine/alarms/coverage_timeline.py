"""Coverage over time: which pack of each `who` was healthy when, and what to use instead.

Built from incidents alone, so that it is the same for a scan and for a session's log.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from engine.alarms.coverage import Coverage
from engine.model.fault_remedies import spoils
from engine.model.messages import Incident
from engine.model.snapshot import Cover
from engine.model.tracks import Track


@dataclass(frozen=True, slots=True)
class Stretch:
    """From `start_s` to `end_s` that pack is the one to use (input number); None: there is none."""

    start_s: float
    end_s: float
    use: int | None

    @property
    def length_s(self) -> float:
        """How long it is, s."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class WhoCoverage:
    """One `who` through the whole take: its packs, and stretches that follow without a gap."""

    who: str
    tracks: tuple[int, ...]
    stretches: tuple[Stretch, ...]

    @property
    def uncovered(self) -> tuple[Stretch, ...]:
        """The stretches in which every pack was in fault."""
        return tuple(stretch for stretch in self.stretches if stretch.use is None)

    @property
    def covered_fraction(self) -> float | None:
        """Share of the take with a healthy pack, 0 to 1; None for a take of no length."""
        whole_s = sum(stretch.length_s for stretch in self.stretches)
        if whole_s <= 0.0:
            return None
        return 1.0 - sum(stretch.length_s for stretch in self.uncovered) / whole_s


class CoverageTimeline:
    """The coverage of a take that lasts `duration_s`.

    An incident that spoils the audio holds its tracks from onset to end (to the take's end while
    it lasts), the onset included, the end not.
    """

    def __init__(
        self, tracks: Sequence[Track], incidents: Sequence[Incident], duration_s: float
    ) -> None:
        self._index_of = {track.input: index for index, track in enumerate(tracks)}
        self._coverage = Coverage(tuple(tracks))
        self._duration_s = duration_s
        self._times_s, self._spoiled = self._sweep(incidents)

    def _sweep(self, incidents: Sequence[Incident]) -> tuple[list[float], list[frozenset[int]]]:
        """Start of each elementary stretch and the tracks that are spoiled in it."""
        changes: dict[float, Counter[int]] = {0.0: Counter()}
        for incident in filter(spoils, incidents):
            start_s, end_s = self.span(incident)
            if end_s <= start_s:
                continue
            for track_index in self.track_indices(incident):
                changes.setdefault(start_s, Counter())[track_index] += 1
                changes.setdefault(end_s, Counter())[track_index] -= 1
        faults: Counter[int] = Counter()
        times_s, spoiled = [], []
        for at_s in sorted(changes):
            for track_index, step in changes[at_s].items():
                faults[track_index] += step
            times_s.append(at_s)
            spoiled.append(
                frozenset(track_index for track_index, count in faults.items() if count > 0)
            )
        return times_s, spoiled

    def track_indices(self, incident: Incident) -> tuple[int, ...]:
        """Indices of the tracks an incident speaks of."""
        inputs = incident.tracks if incident.track is None else (incident.track,)
        return tuple(self._index_of[number] for number in inputs if number in self._index_of)

    def span(self, incident: Incident) -> tuple[float, float]:
        """Onset and end within the take, s; to the take's end while it lasts."""
        end_s = self._duration_s if incident.end_s is None else incident.end_s
        return (
            min(max(incident.onset_s, 0.0), self._duration_s),
            min(max(end_s, 0.0), self._duration_s),
        )

    def whos(self) -> tuple[WhoCoverage, ...]:
        """Every `who` that wears a pack, in plan order."""
        covers = {spoiled: self._coverage.covers(spoiled) for spoiled in set(self._spoiled)}
        return tuple(
            WhoCoverage(cover.who, cover.tracks, self._whole_take(covers, number))
            for number, cover in enumerate(self._coverage.covers(()))
        )

    def _whole_take(
        self, covers: Mapping[frozenset[int], Sequence[Cover]], number: int
    ) -> tuple[Stretch, ...]:
        def use(spoiled: frozenset[int]) -> int | None:
            return covers[spoiled][number].use

        return self._stretches(0.0, self._duration_s, use)

    def instead(self, incident: Incident) -> tuple[Stretch, ...]:
        """What to use instead of the incident's track while it lasts, stretch by stretch.

        Empty where no other pack is worn by that `who` at all, and for a fault of several tracks.
        """
        indices = self.track_indices(incident)
        if len(indices) != 1 or self._coverage.cover_of(indices[0], ()) is None:
            return ()
        start_s, end_s = self.span(incident)
        return self._stretches(
            start_s, end_s, lambda spoiled: self._coverage.cover_of(indices[0], spoiled)
        )

    def _stretches(
        self, start_s: float, end_s: float, use: Callable[[frozenset[int]], int | None]
    ) -> tuple[Stretch, ...]:
        """Stretches from start to end, each as long as the answer stays the same."""
        first = max(bisect_right(self._times_s, start_s) - 1, 0)
        last = max(bisect_left(self._times_s, end_s), first + 1)
        stretches: list[Stretch] = []
        for number in range(first, last):
            answer = use(self._spoiled[number])
            begin_s = max(self._times_s[number], start_s)
            if stretches and stretches[-1].use == answer:
                begin_s = stretches.pop().start_s
            until_s = self._times_s[number + 1] if number + 1 < last else end_s
            stretches.append(Stretch(begin_s, until_s, answer))
        return tuple(stretch for stretch in stretches if stretch.length_s > 0.0)
