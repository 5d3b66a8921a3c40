"""All detectors of one watch, asked together; in a scan some were asked where it was measured."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from engine.detectors import learned as memories
from engine.detectors.base import Detector, Feed, unknown
from engine.detectors.registry import Row, Scope
from engine.model.messages import Condition, Fault, Measurement
from engine.model.track_remap import Places, carry
from engine.model.tracks import Scene
from engine.pipeline.framing import Heard


class Panel:
    """One detector a row, in row order."""

    def __init__(self, scene: Scene, rows: Sequence[Row]) -> None:
        """Start with nothing heard."""
        self._rows = tuple(rows)
        self._details: dict[tuple[Fault, int], str] = {}
        self._begin(scene)

    def _begin(self, scene: Scene) -> None:
        self._detectors = {id(row): row.detector(scene) for row in self._rows}
        # A fault that the plan looks for on no track has nothing to say in any tick.
        self._idle = unknown(len(scene.tracks))
        self._asked = [
            row.scope is Scope.INPUT or bool(scene.watched(row.fault).any()) for row in self._rows
        ]

    @property
    def detectors(self) -> Collection[Detector]:
        """All of them, in row order."""
        return self._detectors.values()

    @property
    def learned(self) -> tuple[memories.Memory, ...]:
        """What the detectors learned so far, for a later start."""
        return memories.keep(self.detectors)

    def restore(self, learned: tuple[memories.Memory, ...]) -> None:
        """Go on from what an earlier watch learned."""
        memories.restore(self.detectors, learned)

    def change(self, scene: Scene, places: Places, same: Places) -> None:
        """Go on under a changed plan with what was learned, and of `same` tracks all they saw.

        `places` says where the inputs were; `same` only of tracks that are judged as before.
        """
        before, learned = self._detectors, memories.moved(self.learned, places)
        self._begin(scene)
        self.restore(learned)
        for row, detector in self._detectors.items():
            carry(detector, before[row], same)

    def ask(
        self, measurement: Measurement | None, feed: Feed, heard: Heard | None = None
    ) -> list[Condition]:
        """One tick: a condition for each row, in row order; `heard` is what was asked before."""
        if heard is not None:
            self._details.update(heard.details)
        return [
            self._idle
            if not asked
            else heard.said[row.fault]
            if heard is not None and row.needs_samples
            else self._detectors[id(row)].update(measurement, feed)
            for row, asked in zip(self._rows, self._asked, strict=True)
        ]

    def detail(self, row: Row, place: int) -> str:
        """What that row's detector saw on the track at that place, one line."""
        if (row.fault, place) in self._details:
            return self._details[row.fault, place]
        return self._detectors[id(row)].detail(0 if row.scope is Scope.INPUT else place)
