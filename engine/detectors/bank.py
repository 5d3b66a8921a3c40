"""All detectors of one watch, asked together; in a scan some were asked where it was measured."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from typing import Any, cast

from engine.detectors import learned as memories
from engine.detectors.base import Detector, TickContext, unknown
from engine.detectors.guard import DetectorGuard
from engine.detectors.registry import DETECTORS, FORESIGHTED
from engine.measure.tick_block import TickBlock
from engine.model.fault_rules import FaultRule, Scope
from engine.model.messages import Condition, Measurement
from engine.model.tick import SampleFindings
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene


class DetectorBank:
    """One detector a rule, in the order of the rules."""

    def __init__(
        self, scene: Scene, rules: Sequence[FaultRule], only: Collection[str] | None = None
    ) -> None:
        """Start with nothing heard; with `only`, all other rules say nothing in any tick."""
        self._rules = tuple(rules)
        self._names = tuple(rule.name for rule in rules)
        self._only = {rule.name for rule in self._rules} if only is None else set(only)
        self._details: dict[tuple[str, int], str] = {}
        self._begin(scene)

    def _begin(self, scene: Scene) -> None:
        self._scene = scene
        self._guard = DetectorGuard(len(scene.tracks))
        asked = [rule for rule in self._rules if rule.name in self._only]
        self._detectors = {rule.name: DETECTORS[rule.name](scene) for rule in asked}
        # A fault that the plan looks for on no track has nothing to say in any tick.
        self._idle = unknown(len(scene.tracks))
        self._watched = {
            rule.name: rule
            for rule in asked
            if rule.scope is Scope.INPUT or scene.watched(rule.fault).any()
        }
        self._foresighted = [name for name in self._watched if name in FORESIGHTED]

    @property
    def detectors(self) -> Collection[Detector]:
        """All of them, in the order of the rules."""
        return self._detectors.values()

    @property
    def learned(self) -> tuple[memories.Memory, ...]:
        """What the detectors learned so far, for a later start."""
        return memories.keep(self.detectors)

    def restore(self, learned: tuple[memories.Memory, ...]) -> None:
        """Go on from what an earlier watch learned."""
        memories.restore(self.detectors, learned)

    def change(self, scene: Scene, remap: TrackRemap, same: TrackRemap) -> None:
        """Go on under a changed plan with what was learned, and of `same` tracks all they saw.

        `remap` says where the inputs were; `same` only of tracks that are judged as before.
        """
        before, learned = self._detectors, memories.moved(self.learned, remap)
        self._begin(scene)
        self.restore(learned)
        for name, detector in self._detectors.items():
            detector.carry(before[name], same)

    def look_ahead(self, block: TickBlock, heard: Collection[str] = ()) -> None:
        """Let the detectors make of the next ticks what they can at once; of the rules `heard` it
        was done elsewhere."""
        for name in self._foresighted:
            if name not in heard:
                self._guard.look_ahead(name, cast(Any, self._detectors[name]), block)

    def ask(
        self,
        measurement: Measurement | None,
        feed: TickContext,
        heard: SampleFindings | None = None,
    ) -> Mapping[str, Condition]:
        """One tick: a condition for each rule, by its name; `heard` is what was asked before."""
        said: Mapping[str, Condition] = {}
        if heard is not None:
            said = heard.said
            self._details.update(heard.details)
        conditions = dict.fromkeys(self._names, self._idle)
        guard, detectors = self._guard, self._detectors
        for name, rule in self._watched.items():
            if name in said:
                conditions[name] = said[name]
            elif guard.calm:  # as nearly always
                try:
                    conditions[name] = detectors[name].update(measurement, feed)
                except Exception as error:
                    conditions[name] = guard.failed(rule, error, feed.now_s)
            else:
                conditions[name], detectors[name] = guard.ask(
                    rule, detectors[name], self._anew, measurement, feed
                )
        return conditions

    @property
    def problems(self) -> tuple[str, ...]:
        """One line for each detector that can't judge at the moment."""
        return self._guard.problems

    def _anew(self, name: str) -> Detector:
        """That detector as it begins, but for what it learned."""
        fresh = DETECTORS[name](self._scene)
        with suppress(Exception):  # what broke the old one may be what it learned
            memories.restore([fresh], memories.keep([self._detectors[name]]))
        return fresh

    def detail(self, rule: FaultRule, track_index: int) -> str:
        """What that rule's detector saw on the track of that index, one line."""
        where = 0 if rule.scope is Scope.INPUT else track_index
        if (rule.name, where) in self._details:
            return self._details[rule.name, where]
        detector = self._detectors.get(rule.name)
        return "" if detector is None else self._guard.detail(rule, detector, track_index)
