"""Batteries against the planned end and against each other.

That a mixer wants to know an hour ahead is common practice, no source.
"""

from __future__ import annotations

from engine.early_signs.battery_signs import BatterySigns
from engine.model.batteries import Battery, put_in
from engine.model.early_signs import SignKind

HOUR_S = 3600.0


def test_a_battery_due_before_the_planned_end_is_told_an_hour_ahead() -> None:
    """Ends at 3:00 and 5:00, the event's at 4:00: the first is told from 2:00 to its change."""
    signs = BatterySigns()
    batteries = (Battery(1, 0.0, 3 * HOUR_S), Battery(2, 0.0, 5 * HOUR_S))
    assert not signs.update(batteries, 1.9 * HOUR_S, 4 * HOUR_S)
    (began,) = signs.update(batteries, 2.1 * HOUR_S, 4 * HOUR_S)
    assert (began.sign.kind, began.sign.tracks, began.began) == (SignKind.BATTERY, (1,), True)
    assert (began.sign.normal, began.sign.now) == (114.0, 54.0)
    assert not signs.update(batteries, 2.2 * HOUR_S, 4 * HOUR_S)
    changed = put_in(batteries, Battery(1, 2.3 * HOUR_S, 3 * HOUR_S))
    (over,) = signs.update(changed, 2.3 * HOUR_S, 4 * HOUR_S)
    assert (over.sign.tracks, over.began) == ((1,), False)
    assert signs.standing == ()


def test_nothing_is_told_without_a_planned_end() -> None:
    """Nobody said when the event ends: the last twenty minutes are a card of their own anyway."""
    assert not BatterySigns().update((Battery(1, 0.0, HOUR_S),), 0.5 * HOUR_S, None)


def test_a_pack_whose_battery_went_quicker_than_its_fellows_is_told_for_half_an_hour() -> None:
    """Changed after 1:30 while four others are at 2:30: told with both, then no more."""
    batteries = tuple(Battery(n, 0.0) for n in range(1, 6))
    batteries = put_in(batteries, Battery(3, 1.5 * HOUR_S))
    signs = BatterySigns()
    assert not signs.update(batteries, 1.6 * HOUR_S, None)
    (began,) = signs.update(batteries, 2.5 * HOUR_S, None)
    assert (began.sign.kind, began.sign.tracks) == (SignKind.BATTERY_QUICK, (3,))
    assert (began.sign.normal, began.sign.now) == (150.0, 90.0)
    assert [e.began for e in signs.update(batteries, 3.1 * HOUR_S, None)] == [False]
    assert not signs.update(batteries, 3.2 * HOUR_S, None)


def test_a_change_with_all_the_others_is_no_quick_end() -> None:
    """Everybody got a fresh one in the break, the first pack some minutes earlier."""
    batteries = tuple(Battery(n, 0.0) for n in range(1, 6))
    for n in range(1, 6):
        batteries = put_in(batteries, Battery(n, 2.0 * HOUR_S + 120.0 * n))
    assert not BatterySigns().update(batteries, 2.5 * HOUR_S, None)
