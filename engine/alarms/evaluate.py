"""From conditions, arrays over all tracks, to readings of single alarms: families and delays."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.alarms.machine import ActiveFault, Evaluation
from engine.model.faults import FaultRule, Scope
from engine.model.messages import Condition, Levels, State
from engine.model.tracks import Scene

INPUT: Final = -1
"""The place of an alarm that speaks of the whole input."""

_ACTIVE: Final = int(State.ACTIVE)

Family = tuple[FaultRule, ...]
"""Rules of which a track has one incident at a time, the best name first."""


class Evaluations:
    """What the rules' conditions mean for each alarm; `families` in the order to go through."""

    def __init__(self, scene: Scene, rules: Sequence[FaultRule]) -> None:
        self._delays = {rule.name: _delays(rule, scene) for rule in rules}
        self._inputs = tuple(track.input for track in scene.tracks)
        self.families = _by_family(rules)

    def of(self, conditions: Mapping[str, Condition]) -> Standing:
        """One tick's conditions, by the name of the rule."""
        return Standing(self._delays, conditions, self._inputs, self.families)


@dataclass(frozen=True, slots=True)
class Standing:
    """The conditions of one tick, to be asked for the reading of one alarm."""

    _delays: Mapping[str, tuple[Levels, Levels]]
    _conditions: Mapping[str, Condition]
    _inputs: tuple[int, ...]
    _families: tuple[Family, ...]

    def stirring(self, followed: Collection[str]) -> list[Family]:
        """The families that have something going on, or had it before (`followed`, by group)."""
        # Nearly every tick of nearly every fault is quiet, and a byte is found fast.
        active = {
            name for name, said in self._conditions.items() if _ACTIVE in said.state.tobytes()
        }
        if not active and not followed:
            return []
        return [
            family
            for family in self._families
            if family[0].group in followed or any(rule.name in active for rule in family)
        ]

    def places(self, family: Family, followed: Collection[int]) -> Collection[int]:
        """Where a family that stirs has something going on; `followed`: where it had it before."""
        if family[0].scope is Scope.INPUT:
            return [INPUT]
        states = [self._conditions[rule.name].state for rule in family]
        places = {int(place) for state in states for place in np.flatnonzero(state == State.ACTIVE)}
        return sorted(places.union(followed) - {INPUT})

    def inputs(self, family: Family, place: int) -> tuple[int, ...]:
        """Input numbers of both tracks where the fault is about two, else none."""
        for rule in family:
            partners = self._conditions[rule.name].partners
            if partners is not None and partners[place] >= 0:
                both = sorted((place, int(partners[place])))
                return tuple(self._inputs[at] for at in both)
        return ()

    def reading(self, family: Family, place: int, cover: int | None) -> Evaluation:
        """How that alarm's condition stands; `cover` is the pack that covers the track."""
        at = max(place, 0)
        states = [int(self._conditions[rule.name].state[at]) for rule in family]
        names = tuple(
            self._name(rule, at, cover)
            for rule, state in zip(family, states, strict=True)
            if state == State.ACTIVE
        )
        off_s = max(rule.off_s for rule in family)
        if names:
            return Evaluation(State.ACTIVE, names, off_s)
        return Evaluation(State.UNKNOWN if State.UNKNOWN in states else State.CLEAR, off_s=off_s)

    def _name(self, rule: FaultRule, at: int, cover: int | None) -> ActiveFault:
        condition = self._conditions[rule.name]
        amber_s, red_s = self._delays[rule.name]
        onset_s = float(condition.onset_s[at])
        covered = rule.red_if_uncovered and cover is not None
        return ActiveFault(
            fault=rule.fault,
            onset_s=onset_s,
            last_s=float(condition.last_s[at]),
            amber_due_s=onset_s + float(amber_s[at]),
            red_due_s=onset_s + float(red_s[at]),
            may_be_red=bool(condition.may_be_red[at]) and not covered,
            rank=rule.rank,
        )


def _by_family(rules: Sequence[FaultRule]) -> tuple[Family, ...]:
    """Rules of one family together, best name first; those that need to know the cover last."""
    families: dict[tuple[str, Scope], list[FaultRule]] = {}
    for rule in rules:
        families.setdefault((rule.group, rule.scope), []).append(rule)
    ranked = [tuple(sorted(family, key=lambda r: -r.rank)) for family in families.values()]
    return tuple(sorted(ranked, key=lambda family: family[0].red_if_uncovered))


def _delays(rule: FaultRule, scene: Scene) -> tuple[Levels, Levels]:
    """On-delays (amber, red) of that rule for every track, s."""
    amber, red = (
        scene.numbers(delay) if isinstance(delay, str) else np.full(len(scene.tracks), delay)
        for delay in (rule.amber_s, rule.red_s)
    )
    return amber, red
