"""From conditions, arrays over all tracks, to readings of single alarms: families and delays."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.alarms.machine import Name, Reading
from engine.detectors.registry import Row, Scope
from engine.model.messages import Condition, Levels, State
from engine.model.tracks import Scene

INPUT: Final = -1
"""The place of an alarm that speaks of the whole input."""

_ACTIVE: Final = int(State.ACTIVE)

Family = tuple[Row, ...]
"""Rows of which a track has one incident at a time, the best name first."""


class Readings:
    """What the rows' conditions mean for each alarm; `families` in the order to go through."""

    def __init__(self, scene: Scene, rows: Sequence[Row]) -> None:
        self._ids = [id(row) for row in rows]
        self._delays = {id(row): _delays(row, scene) for row in rows}
        self._inputs = tuple(track.input for track in scene.tracks)
        self.families = _by_family(rows)

    def of(self, conditions: Sequence[Condition]) -> Standing:
        """One tick's conditions, in row order."""
        return Standing(
            self._delays, dict(zip(self._ids, conditions, strict=True)), self._inputs, self.families
        )


@dataclass(frozen=True, slots=True)
class Standing:
    """The conditions of one tick, to be asked for the reading of one alarm."""

    _delays: Mapping[int, tuple[Levels, Levels]]
    _conditions: Mapping[int, Condition]
    _inputs: tuple[int, ...]
    _families: tuple[Family, ...]

    def stirring(self, followed: Collection[str]) -> list[Family]:
        """The families that have something going on, or had it before (`followed`, by group)."""
        # Nearly every tick of nearly every fault is quiet, and a byte is found fast.
        active = {i for i, said in self._conditions.items() if _ACTIVE in said.state.tobytes()}
        if not active and not followed:
            return []
        return [
            family
            for family in self._families
            if family[0].group in followed or any(id(row) in active for row in family)
        ]

    def places(self, family: Family, followed: Collection[int]) -> Collection[int]:
        """Where a family that stirs has something going on; `followed`: where it had it before."""
        if family[0].scope is Scope.INPUT:
            return [INPUT]
        states = [self._conditions[id(row)].state for row in family]
        places = {int(place) for state in states for place in np.flatnonzero(state == State.ACTIVE)}
        return sorted(places.union(followed) - {INPUT})

    def inputs(self, family: Family, place: int) -> tuple[int, ...]:
        """Input numbers of both tracks where the fault is about two, else none."""
        for row in family:
            partners = self._conditions[id(row)].partners
            if partners is not None and partners[place] >= 0:
                both = sorted((place, int(partners[place])))
                return tuple(self._inputs[at] for at in both)
        return ()

    def reading(self, family: Family, place: int, cover: int | None) -> Reading:
        """How that alarm's condition stands; `cover` is the pack that covers the track."""
        at = max(place, 0)
        states = [int(self._conditions[id(row)].state[at]) for row in family]
        names = tuple(
            self._name(row, at, cover)
            for row, state in zip(family, states, strict=True)
            if state == State.ACTIVE
        )
        off_s = max(row.off_s for row in family)
        if names:
            return Reading(State.ACTIVE, names, off_s)
        return Reading(State.UNKNOWN if State.UNKNOWN in states else State.CLEAR, off_s=off_s)

    def _name(self, row: Row, at: int, cover: int | None) -> Name:
        condition = self._conditions[id(row)]
        amber_s, red_s = self._delays[id(row)]
        onset_s = float(condition.onset_s[at])
        covered = row.red_if_uncovered and cover is not None
        return Name(
            fault=row.fault,
            onset_s=onset_s,
            last_s=float(condition.last_s[at]),
            amber_due_s=onset_s + float(amber_s[at]),
            red_due_s=onset_s + float(red_s[at]),
            may_be_red=bool(condition.may_be_red[at]) and not covered,
            rank=row.rank,
        )


def _by_family(rows: Sequence[Row]) -> tuple[Family, ...]:
    """Rows of one family together, best name first; those that need to know the cover last."""
    families: dict[tuple[str, Scope], list[Row]] = {}
    for row in rows:
        families.setdefault((row.group, row.scope), []).append(row)
    ranked = [tuple(sorted(family, key=lambda r: -r.rank)) for family in families.values()]
    return tuple(sorted(ranked, key=lambda family: family[0].red_if_uncovered))


def _delays(row: Row, scene: Scene) -> tuple[Levels, Levels]:
    """On-delays (amber, red) of that row for every track, s."""
    amber, red = (
        scene.numbers(delay) if isinstance(delay, str) else np.full(len(scene.tracks), delay)
        for delay in (row.amber_s, row.red_s)
    )
    return amber, red
