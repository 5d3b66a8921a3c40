"""From one measured tick to alarm events: detectors, line check, alarms, common causes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

import numpy as np

from engine.alarms import operator
from engine.alarms.book import Book
from engine.alarms.book_checkpoint import restore
from engine.alarms.common_cause import CauseAlarms
from engine.alarms.plan_change import carry_over
from engine.detectors.bank import DetectorBank
from engine.detectors.base import TickContext, doubted
from engine.detectors.explained import explained
from engine.line_check.live_check import LiveLineCheck
from engine.measure.meter import Meter
from engine.model.fault_rules import LOSS, FaultRule, Scope
from engine.model.messages import AlarmEvent, Flags, Measurement
from engine.model.tick import SampleFindings
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene
from engine.session.checkpoint import Checkpoint

DOUBT_S: Final = 10.0
"""After a restart, detectors that begin anew can't yet say that a fault which stood is over."""


class Judge:
    """Asks the detectors of each tick, and steps the alarms by what they say.

    Parameters
    ----------
    scene : Scene
    rules : sequence of FaultRule
    meter : Meter
        Of the same tracks; the line check asks it for floors.
    checkpoint : Checkpoint, optional
        Of an earlier watch of the same tracks: alarms and what was learned go on from there.
    remembers : int, optional
        So many incidents are kept after their end; all where it is left out.
    only : collection of str, optional
        Names of the rules that are looked for; all where it is left out.

    Attributes
    ----------
    severities : ndarray of uint8, shape (tracks,)
        The worst that stood on each track at the end of the last tick; 0 where none.
    """

    def __init__(
        self,
        scene: Scene,
        rules: Sequence[FaultRule],
        meter: Meter,
        checkpoint: Checkpoint | None = None,
        *,
        remembers: int | None = None,
        only: Collection[str] | None = None,
    ) -> None:
        self._rules, self._scene = tuple(rules), scene
        self.book = Book(scene, rules, remembers)
        self.bank = DetectorBank(scene, rules, only)
        self.lines = LiveLineCheck(scene, meter, self.bank.detectors, checkpoint)
        self._cause_alarms = CauseAlarms(self.book)
        self.severities = self.book.severities()
        self._doubt_until_s = np.zeros(len(scene.tracks))
        self._no_doubt_s = 0.0
        if checkpoint is not None:
            self._doubt_until_s[:] = self._no_doubt_s = checkpoint.fed_s + DOUBT_S
            self.book.on_break = checkpoint.desk.on_break
            restore(self.book, checkpoint.book, self._rules)
            self.bank.restore(checkpoint.learned)

    def change(
        self, scene: Scene, meter: Meter, remap: TrackRemap, same: TrackRemap, now_s: float
    ) -> list[AlarmEvent]:
        """Go on with the tracks of another plan.

        `remap` says where they were before, `same` only of those that are judged as before.
        """
        self._doubt_until_s = np.where(
            same.old < 0, now_s + DOUBT_S, remap.first(self._doubt_until_s, 0.0)
        )
        self._no_doubt_s = float(self._doubt_until_s.max(initial=0.0))
        self._scene = scene
        self.bank.change(scene, remap, same)
        self.lines.change(scene, meter, self.bank.detectors)
        self.book, events = carry_over(self.book, scene, self._rules, remap, now_s)
        self._cause_alarms = CauseAlarms(self.book)
        return events

    def step(
        self,
        measurement: Measurement | None,
        context: TickContext,
        start_s: float,
        findings: SampleFindings | None = None,
    ) -> list[AlarmEvent]:
        """Judge one tick from `start_s` on, None while no audio comes; what happened.

        `findings` are those of detectors that were asked before.
        """
        conditions = self.bank.ask(measurement, context, findings)
        conditions = explained(conditions, self._scene, self.book.tracks_with(LOSS))
        if measurement is not None:
            self.lines.update(measurement, self._rules, conditions, self.bank.detail)
        if context.now_s < self._no_doubt_s:
            doubt = context.now_s < self._doubt_until_s
            conditions = {
                rule.name: condition if rule.scope is Scope.INPUT else doubted(condition, doubt)
                for rule in self._rules
                for condition in (conditions[rule.name],)
            }
        events = operator.end_shelving(self.book, context.now_s)
        events += self.book.step(conditions, self.bank.detail, start_s, context.now_s)
        events = self._cause_alarms.step(events, start_s, context.now_s)
        self.severities = self.book.severities()
        return events

    @property
    def faulty(self) -> Flags:
        """Tracks with an alarm or out of service, as of the last tick."""
        faulty = self.severities > 0
        if self.book.out_of_service:
            faulty[list(self.book.out_of_service)] = True
        return faulty
