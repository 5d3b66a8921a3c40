"""What is declared once is made, reset and moved with its tracks."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By, TrackRemap


class Knocks(TrackMemory):
    """One attribute of each sort."""

    count = per_track(0)
    levels = per_track(np.nan, rows=3)
    names: list[str] = each_track(str)
    tick: int = remembered(By.WHOLE, 0)
    scratch: list[int] = remembered(By.ANEW, lambda _: [])
    accepted = per_track(-np.inf, lasting=True)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()


def used(tracks: int) -> Knocks:
    """One that remembers something of every track."""
    knocks = Knocks(tracks)
    knocks.count[:] = np.arange(tracks)
    knocks.levels[:] = np.arange(tracks)
    knocks.names = [str(n) for n in range(tracks)]
    knocks.tick, knocks.scratch = 7, [1]
    knocks.accepted[:] = -30.0
    return knocks


def test_each_object_has_its_own() -> None:
    """What one object writes is not seen in another; shapes and types follow the declaration."""
    one, other = Knocks(2), Knocks(2)
    one.count[0] = 5
    assert other.count.tolist() == [0, 0]
    assert one.count.dtype == np.int64
    assert one.levels.shape == (3, 2)
    assert not hasattr(Knocks, "count")


def test_a_reset_forgets_all_but_what_lasts() -> None:
    """After a reset all is as when new, except what was declared lasting."""
    knocks = used(2)
    knocks.reset()
    assert knocks.count.tolist() == [0, 0]
    assert knocks.names == ["", ""]
    assert (knocks.tick, knocks.scratch) == (0, [])
    assert knocks.accepted.tolist() == [-30.0, -30.0]


@given(st.lists(st.integers(-1, 4), min_size=1, max_size=6, unique_by=lambda n: (n, n < 0)))
def test_tracks_take_theirs_along(old: list[int]) -> None:
    """Every track that stays has what it had, every new one what a fresh object has."""
    fresh = Knocks(len(old))
    fresh.carry(used(5), TrackRemap(np.array(old)))
    assert fresh.count.tolist() == [max(n, 0) for n in old]
    assert fresh.names == ["" if n < 0 else str(n) for n in old]
    assert np.isnan(fresh.levels[0]).tolist() == [n < 0 for n in old]
    assert (fresh.tick, fresh.scratch) == (7, [])
