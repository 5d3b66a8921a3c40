"""A fault that explains another takes its place."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.base import condition, unknown
from engine.detectors.explained import DUPLICATE, LOW, NOISE, PAIR_DRIFT, SWAPPED, explained
from engine.model.messages import Condition, PackLevel, State
from engine.model.tracks import Scene, Track

WHO = ("bell hand", "rope hand", "tower hand")
SCENE = Scene(
    tuple(
        Track(1 + 2 * n + m, who=who, level=level)
        for n, who in enumerate(WHO)
        for m, level in enumerate((PackLevel.MAIN, PackLevel.SAFETY))
    ),
    48_000,
)
TRACKS = len(SCENE.tracks)
FLAGS = st.lists(st.booleans(), min_size=TRACKS, max_size=TRACKS)


def said(active: list[bool], partner: dict[int, int] | None = None) -> Condition:
    """Active there since 1 s; partners by track index."""
    partners = np.full(TRACKS, -1, dtype=np.int64)
    for at, other in (partner or {}).items():
        partners[at] = other
    times = np.ones(TRACKS)
    known = np.ones(TRACKS, dtype=np.bool_)
    return condition(np.array(active), known, times, times, None, partners)


def swap(one: int, other: int) -> Condition:
    """The packs of two performers changed places: said on the higher main."""
    return said([n == 2 * other for n in range(TRACKS)], {2 * other: 2 * one})


@pytest.mark.parametrize("name", [PAIR_DRIFT, LOW])
@given(active=FLAGS)
def test_a_swap_explains_drifts_and_gains_of_its_own_pairs_alone(
    name: str, active: list[bool]
) -> None:
    """Both pairs that changed places drift no more, nor are they low; the third still is."""
    after = explained({SWAPPED: swap(0, 2), name: said(active)}, SCENE)[name]
    assert not (after.state[[0, 1, 4, 5]] == State.ACTIVE).any()
    assert (after.state[2:4] == said(active).state[2:4]).all()


@pytest.mark.parametrize("name", [PAIR_DRIFT, LOW])
@given(active=FLAGS)
def test_a_copy_explains_levels_of_both_inputs_alone(name: str, active: list[bool]) -> None:
    """Input 3 carries what input 1 does, at its level: neither gain speaks, nor do their pairs."""
    copy = said([n == 2 for n in range(TRACKS)], {2: 0})
    after = explained({DUPLICATE: copy, name: said(active)}, SCENE)[name]
    assert not (after.state[:4] == State.ACTIVE).any()
    assert (after.state[4:] == said(active).state[4:]).all()


@given(active=FLAGS)
def test_a_copy_explains_the_hiss_of_its_own_inputs(active: list[bool]) -> None:
    """It comes with the floor of what it copies; a second pack has nothing to do with that."""
    copy = said([n == 2 for n in range(TRACKS)], {2: 0})
    after = explained({DUPLICATE: copy, NOISE: said(active)}, SCENE)[NOISE]
    assert not (after.state[[0, 2]] == State.ACTIVE).any()
    assert (after.state[[1, 3, 4, 5]] == said(active).state[[1, 3, 4, 5]]).all()


@given(low=FLAGS)
def test_where_all_inputs_were_moved_no_gain_speaks(low: list[bool]) -> None:
    """The alarm names two inputs, but its partners are all."""
    moved = said([n == 2 for n in range(TRACKS)], {n: 0 if n == 2 else n for n in range(TRACKS)})
    assert not (explained({SWAPPED: moved, LOW: said(low)}, SCENE)[LOW].state == State.ACTIVE).any()


@given(lost=FLAGS, low=FLAGS)
def test_what_is_lost_is_not_low_as_well(lost: list[bool], low: list[bool]) -> None:
    """One loss, one alarm; where nothing is lost a low voice is still told."""
    after = explained({LOW: said(low)}, SCENE, [n for n in range(TRACKS) if lost[n]])
    told = [a and not b for a, b in zip(low, lost, strict=True)]
    assert ((after[LOW].state == State.ACTIVE) == told).all()


@given(drifts=FLAGS)
def test_without_a_swap_all_stays(drifts: list[bool]) -> None:
    """Whether it is not looked for, not known or not there."""
    for swapped in (None, unknown(TRACKS), said([False] * TRACKS)):
        conditions = {PAIR_DRIFT: said(drifts)}
        if swapped is not None:
            conditions[SWAPPED] = swapped
        assert (explained(conditions, SCENE)[PAIR_DRIFT].state == said(drifts).state).all()
