"""Which inputs may be empty: nobody named them, and they were quiet from the first moment on.

The first moment is where the watch could first judge the input: an interface may lose its first
blocks, or begin with silence. Source: ours, CONTRACT.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from engine.alarms.alarm import UNHEARD, TrackAlarm
from engine.alarms.machine import Evaluation
from engine.model.messages import Condition, Fault, Levels, State
from engine.model.tracks import Scene

FIRST_S: Final = 0.5
"""What begins within this time after an input could first be judged was so from the start. Ours."""


class EmptyInputs:
    """Follows since when each track can be judged.

    unplanned : indices of the tracks of which nobody said what they carry
    """

    def __init__(self, scene: Scene) -> None:
        self.unplanned = tuple(i for i, t in enumerate(scene.tracks) if not t.planned)
        self._judged_since_s: Levels = np.full(len(scene.tracks), np.nan)
        self._all_judged = not self.unplanned

    def follow(self, conditions: Mapping[str, Condition], start_s: float) -> None:
        """Take in one tick's conditions, by the name of the rule."""
        muted = conditions.get(Fault.MUTED.value)
        if muted is None or self._all_judged:
            return
        begins = np.isnan(self._judged_since_s) & (muted.state != State.UNKNOWN)
        self._judged_since_s[begins] = start_s
        self._all_judged = not np.isnan(self._judged_since_s).any()

    def were_judged(self) -> None:
        """All of them were judged before this watch went on: what begins now is no first moment."""
        self._judged_since_s[:] = -np.inf

    def go_on_from(self, before: EmptyInputs, now: Mapping[int, int]) -> None:
        """The plan changed: a track that stays was first judged when it was; `now` says where it
        lies, by its index before."""
        for old, new in now.items():
            self._judged_since_s[new] = before._judged_since_s[old]

    def quiet_at_first(self, track_index: int, onset_s: float) -> bool:
        """A loss with that onset was there from the first moment on, on a track nobody named."""
        first_s = float(self._judged_since_s[track_index])
        return track_index in self.unplanned and onset_s <= first_s + FIRST_S

    def spared(
        self, track_index: int, evaluation: Evaluation, alarm: TrackAlarm | None
    ) -> Evaluation:
        """The evaluation of a loss on that track, amber at most where the input may be empty."""
        if track_index not in self.unplanned or not evaluation.faults:
            return evaluation
        gathered = alarm is not None and alarm.part_of == UNHEARD
        if not gathered and not any(
            self.quiet_at_first(track_index, fault.onset_s) for fault in evaluation.faults
        ):
            return evaluation
        faults = tuple(replace(fault, may_be_red=False) for fault in evaluation.faults)
        return replace(evaluation, faults=faults)
