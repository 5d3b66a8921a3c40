"""From conditions, arrays over all tracks, to evaluations of single alarms: families, delays."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.alarms.machine import ActiveFault, Evaluation
from engine.model.fault_rules import FaultRule, Scope
from engine.model.messages import Condition, Levels, State
from engine.model.tracks import Scene

INPUT: Final = -1
"""Stands for a track index in the key of an alarm that speaks of the whole input."""

_ACTIVE: Final = int(State.ACTIVE)

Family = tuple[FaultRule, ...]
"""Rules of which a track has one incident at a time, the best name first."""
_NamedFamily = tuple[str, frozenset[str], Family]
"""After its group and the names of its rules."""


class Evaluator:
    """What the rules' conditions mean for each alarm."""

    def __init__(self, scene: Scene, rules: Sequence[FaultRule]) -> None:
        self._delays = {rule.name: _delays(rule, scene) for rule in rules}
        self._watched = {rule.name: scene.watched(rule.fault).tobytes() for rule in rules}
        self._inputs = tuple(track.input for track in scene.tracks)
        self._families = tuple(
            (family[0].group, frozenset(rule.name for rule in family), family)
            for family in _by_family(rules)
        )

    def of(self, conditions: Mapping[str, Condition]) -> TickEvaluator:
        """One tick's conditions, by the name of the rule."""
        said = {
            name: state
            for name, one in conditions.items()
            if not one.quiet and _ACTIVE in (state := one.state.tobytes())
        }
        return TickEvaluator(
            self._delays, self._watched, conditions, self._inputs, self._families, said
        )


@dataclass(frozen=True, slots=True)
class TickEvaluator:
    """The conditions of one tick, to be asked for the evaluation of one alarm; `_active` has the
    states of those that are active anywhere, a byte a track, for a byte is found fast; `_watched`
    whether a fault is looked for on each track, a byte again."""

    _delays: Mapping[str, tuple[Levels, Levels]]
    _watched: Mapping[str, bytes]
    _conditions: Mapping[str, Condition]
    _inputs: tuple[int, ...]
    _families: tuple[_NamedFamily, ...]
    _active: Mapping[str, bytes]

    def families_to_step(self, followed: Collection[str]) -> list[tuple[str, Family]]:
        """The families with an active condition, or an alarm to follow (groups `followed`), each
        after its group."""
        active = self._active
        if not active and not followed:
            return []
        return [
            (group, family)
            for group, names, family in self._families
            if group in followed or not names.isdisjoint(active)
        ]

    def track_indices(self, family: Family, followed: Collection[int]) -> Collection[int]:
        """The tracks on which a family is active, or has an alarm to follow (`followed`)."""
        if family[0].scope is Scope.INPUT:
            return [INPUT]
        states = [self._active[rule.name] for rule in family if rule.name in self._active]
        active = {at for state in states for at in _places(state)}
        return sorted(active.union(followed) - {INPUT})

    def inputs(self, family: Family, track_index: int) -> tuple[int, ...]:
        """Input numbers of both tracks where the fault is about two, else none."""
        for rule in family:
            partners = self._conditions[rule.name].partners
            if partners is not None and partners[track_index] >= 0:
                both = sorted((track_index, int(partners[track_index])))
                return tuple(self._inputs[index] for index in both)
        return ()

    def evaluate(self, family: Family, track_index: int, cover: int | None) -> Evaluation:
        """How that alarm's condition stands; `cover` is the pack that covers the track."""
        index = max(track_index, 0)
        states = [int(self._conditions[rule.name].state[index]) for rule in family]
        faults = tuple(
            self._active_fault(rule, index, cover)
            for rule, state in zip(family, states, strict=True)
            if state == State.ACTIVE
        )
        off_s = max(rule.off_s for rule in family)
        if faults:
            return Evaluation(State.ACTIVE, faults, off_s)
        # What is not looked for here is never known, and must not keep an alarm of its family.
        unknown = any(
            state == State.UNKNOWN and (track_index == INPUT or self._watched[rule.name][index])
            for rule, state in zip(family, states, strict=True)
        )
        return Evaluation(State.UNKNOWN if unknown else State.CLEAR, off_s=off_s)

    def _active_fault(self, rule: FaultRule, index: int, cover: int | None) -> ActiveFault:
        condition = self._conditions[rule.name]
        amber_s, red_s = self._delays[rule.name]
        onset_s = float(condition.onset_s[index])
        covered = rule.red_if_uncovered and cover is not None
        return ActiveFault(
            fault=rule.fault,
            onset_s=onset_s,
            last_s=float(condition.last_s[index]),
            amber_due_s=onset_s + float(amber_s[index]),
            red_due_s=onset_s + float(red_s[index]),
            may_be_red=bool(condition.may_be_red[index]) and not covered,
            rank=rule.rank,
        )


def _places(state: bytes) -> Iterator[int]:
    """The tracks that are active, of a state in bytes."""
    at = state.find(_ACTIVE)
    while at >= 0:
        yield at
        at = state.find(_ACTIVE, at + 1)


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
