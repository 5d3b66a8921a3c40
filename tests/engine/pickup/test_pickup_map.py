"""Which of several tracks is named, from seconds made by hand."""

from __future__ import annotations

from engine.pickup.pickup_map import PickupMap
from engine.pickup.pickup_stretches import StretchRecorder
from engine.pickup.sighting import Sighting


def seen(at_s: float, track: int, over_db: float, delay_s: float = 0.003) -> Sighting:
    """That second of that track."""
    return Sighting(at_s, track, over_db, -6.0, delay_s)


def test_the_clearest_is_named_and_the_nearer_of_two_alike() -> None:
    """Within 3 dB the mic that hears first wins; further apart the clearer one."""
    known = PickupMap()
    for second in range(1, 6):
        known.add("rigger", second, [seen(second, 3, 14.0, 0.02), seen(second, 4, 13.5, 0.002)])
        known.add("mason", second, [seen(second, 3, 20.0, 0.02), seen(second, 4, 8.0, 0.002)])
    assert known.best("rigger", 6.0).track == 4
    assert known.best("mason", 6.0).track == 3
    assert known.best("mason", 6.0, {3}).track == 4


def test_a_track_that_heard_little_of_it_is_not_named() -> None:
    """Heard in two of ten seconds: chance, or another place."""
    known = PickupMap()
    for second in range(1, 11):
        known.add("rigger", second, [seen(second, 3, 14.0)] if second < 3 else [])
    assert known.best("rigger", 11.0) is None


def test_few_seconds_are_a_guess() -> None:
    """Three seconds are named, but called a guess."""
    known = PickupMap()
    for second in range(1, 4):
        known.add("rigger", second, [seen(second, 3, 14.0)])
    assert known.best("rigger", 4.0).guess


def test_a_single_later_word_makes_nobody_unheard() -> None:
    """Four seconds, then one forty seconds later: still named, with all five, until the two minutes
    of the first are over."""
    known = PickupMap()
    for second in (11, 12, 13, 14, 54):
        known.add("rigger", second, [seen(second, 3, 14.0)])
    best = known.best("rigger", 60.0)
    assert (best.track, best.seconds, best.guess) == (3, 5, False)
    assert known.best("rigger", 14.5 + 120.0) is None


def test_ten_seconds_are_one_row() -> None:
    """Medians of each performer on each track; the last row once the watch ends."""
    rows = StretchRecorder()
    for second in range(1, 15):
        rows.add("rigger", float(second), [seen(second, 3, float(second))])
    (first,) = rows.take()
    assert (first.track, first.over_db, first.seconds, first.last_s) == (3, 5.5, 10, 10.0)
    rows.finish()
    (rest,) = rows.take()
    assert (rest.over_db, rest.seconds) == (12.5, 4)
