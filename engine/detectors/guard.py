"""Asks detectors one by one, so that one that raises harms neither the others nor the watch.

A detector that raises says nothing of any track (`unknown`) for a second; then it begins anew. What
it looked for stays as it was meanwhile, and for a while after: a detector that has just begun can't
say that a fault which stood is over.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable
from typing import Final

import numpy as np

from engine.detectors.base import Detector, ForesightedDetector, TickContext, doubted, unknown
from engine.measure.tick_block import TickBlock
from engine.model.fault_rules import FaultRule, Scope
from engine.model.messages import Condition, Measurement
from engine.model.safe_text import harmless

RETRY_S: Final = 1.0
"""A detector that raised is asked again after this long. Ours."""

DOUBT_S: Final = 10.0
"""For this long a detector that began anew can't say that a fault is over. Ours."""

LONGEST_REASON: Final = 120
"""Of what an exception says, so many characters are shown. Ours."""


def reason_of(error: BaseException) -> str:
    """What went wrong in one short line that is safe to show."""
    text = harmless(" ".join(f"{type(error).__name__}: {error}".split()))
    return text[:LONGEST_REASON].rstrip(": ")


class DetectorGuard:
    """Knows which detectors raised, why, and when they may be asked again.

    `calm`: none ever did, so that all may be asked directly, and `failed` be told of the first.
    """

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self._reasons: dict[str, str] = {}
        self._retry_s: dict[str, float] = {}
        self._doubt_until_s: dict[str, float] = {}
        self.calm = True

    @property
    def problems(self) -> tuple[str, ...]:
        """One line for each detector that can't judge at the moment."""
        return tuple(f"{name} can't judge: {why}" for name, why in self._reasons.items())

    def ask(
        self,
        rule: FaultRule,
        detector: Detector,
        make: Callable[[str], Detector],
        measurement: Measurement | None,
        context: TickContext,
    ) -> tuple[Condition, Detector]:
        """What the detector says of this tick, and the one to ask next time."""
        name = rule.name
        if context.now_s < self._retry_s.get(name, context.now_s):
            return self._unknown(rule), detector
        try:
            if name in self._retry_s:
                detector = make(name)
            said = detector.update(measurement, context)
        except Exception as error:
            return self.failed(rule, error, context.now_s), detector
        if self._retry_s.pop(name, None) is not None:
            del self._reasons[name]
            self._doubt_until_s[name] = context.now_s + DOUBT_S
        if context.now_s < self._doubt_until_s.get(name, context.now_s):
            said = doubted(said, np.ones(len(said.state), dtype=np.bool_))
        return said, detector

    def failed(self, rule: FaultRule, error: Exception, now_s: float) -> Condition:
        """The detector of that rule raised: it rests, and says nothing of any track."""
        self._note(rule.name, error, now_s)
        return self._unknown(rule)

    def look_ahead(self, name: str, detector: ForesightedDetector, block: TickBlock) -> None:
        """Let the detector of that name make what it can of those ticks."""
        if name in self._retry_s:  # it rests
            return
        try:
            detector.look_ahead(block)
        except Exception as error:
            self._note(name, error, block.ticks[0].start_s)

    def detail(self, rule: FaultRule, detector: Detector, track_index: int) -> str:
        """What the detector saw on that track, one line; empty where it can't say."""
        try:
            return detector.detail(0 if rule.scope is Scope.INPUT else track_index)
        except Exception:
            return ""

    def _note(self, name: str, error: Exception, now_s: float) -> None:
        if name not in self._reasons:  # once for each failure, not once a second
            traceback.print_exception(error, file=sys.stderr)
        self.calm = False
        self._reasons[name] = reason_of(error)
        self._retry_s[name] = now_s + RETRY_S

    def _unknown(self, rule: FaultRule) -> Condition:
        return unknown(1 if rule.scope is Scope.INPUT else self._tracks)
