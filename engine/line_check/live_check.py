"""Joins the line check to the watch: what a passed track showed is learned as normal."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Final

from engine.detectors.base import Detector
from engine.detectors.hum import Hum
from engine.detectors.pair_drift import PairDrift
from engine.line_check.checker import LineChecker
from engine.measure.meter import Meter
from engine.model.commands import Command, EndLineCheck, LineCheckGo, LineCheckMark, StartLineCheck
from engine.model.fault_rules import FaultRule
from engine.model.line_results import LineResult
from engine.model.messages import Condition, Fault, Flags, Measurement, State
from engine.model.tracks import Scene
from engine.session.checkpoint import Checkpoint

ASKED: Final = (StartLineCheck, LineCheckGo, LineCheckMark, EndLineCheck)
_FAULTS: Final = (Fault.CLIPPED, Fault.HUM)


class LiveLineCheck:
    """The line check of one watch, and what it teaches.

    `unlogged` holds the results that are not in the log yet.
    """

    def __init__(
        self, scene: Scene, meter: Meter, detectors: Collection[Detector], kept: Checkpoint | None
    ) -> None:
        self.checker = LineChecker(scene, () if kept is None else kept.line_results)
        self.unlogged: list[LineResult] = []
        self._meter = meter
        self._use(detectors)

    def _use(self, detectors: Collection[Detector]) -> None:
        self._hum = next((d for d in detectors if isinstance(d, Hum)), None)
        self._drift = next((d for d in detectors if isinstance(d, PairDrift)), None)

    def change(self, scene: Scene, meter: Meter, detectors: Collection[Detector]) -> None:
        """Go on by a changed plan."""
        self._meter = meter
        self._use(detectors)
        self.checker.change(scene)

    def update(
        self,
        m: Measurement,
        rules: Sequence[FaultRule],
        conditions: Mapping[str, Condition],
        detail: Callable[[FaultRule, int], str],
    ) -> None:
        """Take in one tick and what the detectors said of it, by the name of the rule."""
        if not self.checker.is_open:
            return
        seen: dict[Fault, tuple[FaultRule, Condition]] = {
            rule.fault: (rule, conditions[rule.name]) for rule in rules if rule.fault in _FAULTS
        }
        active: dict[Fault, Flags] = {
            fault: one.state == State.ACTIVE for fault, (_, one) in seen.items()
        }
        self.checker.update(
            m, active, lambda fault, track_index: detail(seen[fault][0], track_index)
        )

    def command(self, command: Command, now_s: float, timecode: str) -> None:
        """Do what the crew asks of the check."""
        match command:
            case StartLineCheck(tracks):
                self.checker.start(tracks)
            case LineCheckGo(track):
                self.checker.go(track)
            case LineCheckMark(_, _, track) if track not in (None, self.checker.asked):
                return
            case LineCheckMark(verdict, note):
                marked = self.checker.mark(verdict, note, now_s, timecode)
                if marked is not None:
                    result, lesson = marked
                    self.unlogged.append(result)
                    if lesson is not None:
                        self._teach(
                            lesson.track_index, lesson.floor_dbfs, lesson.hum, lesson.pair_db
                        )
            case EndLineCheck():
                self.checker.stop()

    def take_unlogged(self) -> list[LineResult]:
        """Results since the last call, for the log."""
        unlogged, self.unlogged = self.unlogged, []
        return unlogged

    def _teach(
        self,
        track_index: int,
        floor_dbfs: float | None,
        hum: bool,
        pair_db: tuple[int, float, float] | None,
    ) -> None:
        if floor_dbfs is not None:
            self._meter.teach(track_index, floor_dbfs)
        if hum and self._hum is not None:
            self._hum.accept(track_index)
        if pair_db is not None and self._drift is not None:
            self._drift.teach(*pair_db)
