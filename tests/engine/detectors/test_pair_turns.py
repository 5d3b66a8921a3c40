"""How seldom heads alone do what a pair does: held against heads that were drawn, and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from engine.detectors import pair_turns
from engine.detectors.pair_parts import BANDS
from engine.detectors.pair_turns import looks, no_heads, rises
from engine.model.messages import Levels

RNG = np.random.default_rng(5)


def drawn(count: int, spread_db: float, change_db: float = 0.0) -> Levels:
    """Looks of one wearer that scatter by so much, about a change."""
    return change_db + RNG.normal(0.0, spread_db, count)[:, np.newaxis] * np.ones(BANDS)


def told(before: Levels, since: Levels) -> bool:
    """Whether heads alone hardly do that, by the voice."""
    change_db = np.median(since, axis=0)
    return bool(no_heads(before, since, change_db)[0])


def test_a_look_lasts_three_seconds_however_much_is_said() -> None:
    """Words of 0 to 2 s, of 3.5 to 5 s, and one alone at 9 s, which says nothing."""
    begin_s = np.array([0.0, 1.0, 2.0, 3.5, 4.0, 5.0, 9.0])
    parts_db = np.array([1.0, 2.0, 3.0, 7.0, 8.0, 9.0, 50.0])[:, np.newaxis] * np.ones(BANDS)
    assert looks(parts_db, begin_s)[:, 0].tolist() == [2.0, 8.0]


def test_of_nothing_there_are_no_looks() -> None:
    """A watch that has only just begun."""
    assert looks(np.empty((0, BANDS)), np.empty(0)).shape == (0, BANDS)


@pytest.mark.parametrize("known", [6, 12, 40])
def test_a_pair_that_hardly_turns_is_told_by_four_looks(known: int) -> None:
    """Six decibels for 12 s, of a pair whose looks scatter by 0.7 dB."""
    found = [told(drawn(known, 0.7), drawn(4, 0.7, 6.0)) for _ in range(50)]
    assert np.mean(found) > 0.9


@pytest.mark.parametrize("spread_db", [1.0, 2.5, 5.0])
@pytest.mark.parametrize("since", [2, 3, 5])
def test_heads_that_turn_are_not_told(spread_db: float, since: int) -> None:
    """Whatever the last looks do where all are drawn alike: at most one in 250."""
    found = [told(drawn(12, spread_db), drawn(since, spread_db)) for _ in range(500)]
    assert sum(found) <= 2


def test_one_look_far_off_proves_nothing_however_calm_the_pair() -> None:
    """A wearer who looks ahead all evening looks aside once."""
    assert not told(drawn(12, 0.3), drawn(1, 0.3, 12.0))


def test_who_looked_so_far_aside_before_must_do_it_for_longer() -> None:
    """Four looks in turn, where every third lay as far off before."""
    before = np.where(np.arange(12) % 3 == 0, 8.0, 0.0)[:, np.newaxis] * np.ones(BANDS)
    assert not told(before, drawn(4, 0.3, 8.0))


def test_its_tail_is_that_of_student() -> None:
    """Wallace's approximation against scipy's, where it is used: within a tenth of the chance."""
    before, since = drawn(9, 0.8), drawn(5, 0.8, 4.0)
    squares = sum(float(np.square(g[:, 0] - g[:, 0].mean()).sum()) for g in (before, since))
    freedom = pair_turns.PRIOR + 8 + 4
    spread_db = np.sqrt((squares + pair_turns.PRIOR * pair_turns.SCATTER[0] ** 2) / freedom)
    for change_db in (1.0, 2.0, 3.0):
        t = change_db / (spread_db * np.sqrt(1 / 9 + 1 / 5))
        said = pair_turns._chances(before, since, np.full(BANDS, change_db))[0]
        assert said == pytest.approx(2.0 * stats.t.sf(t, freedom), rel=0.1)


def test_a_band_that_was_not_heard_says_nothing() -> None:
    """No treble on one of the packs: only the voice is told."""
    before, since = drawn(12, 0.5), drawn(5, 0.5, 8.0)
    before[:, 1] = since[:, 1] = np.nan
    off = no_heads(before, since, np.array([8.0, np.nan, 8.0]))
    assert off.tolist() == [True, False, True]


def test_a_voice_is_louder_where_its_looks_hardly_vary_so() -> None:
    """By 4 dB, of looks that scatter by 1 dB; not of any that scatter by 5 dB, nor if fainter."""
    steady, varied = drawn(12, 1.0), drawn(12, 5.0)
    assert rises(steady, drawn(5, 1.0, 4.0)).all()
    assert not rises(steady, drawn(5, 1.0, -4.0)).any()
    found = [rises(varied, drawn(5, 5.0))[0] for _ in range(200)]
    assert np.mean(found) < 0.1
