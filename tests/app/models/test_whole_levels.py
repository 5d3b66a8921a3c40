"""Which levels go out, and as which numbers."""

from __future__ import annotations

from app.models.whole_levels import shown, whole_db
from engine.model.messages import Kind
from engine.model.tracks import Plan, Track


def test_unused_inputs_are_left_out() -> None:
    """Tiles, plan and levels are of the tracks in use, by their input numbers."""
    tracks = (Track(4, "Rope"), Track(2, "Spare", Kind.UNUSED), Track(1, "Bell"))
    assert shown(Plan(tracks)) == [2, 0]


def test_levels_are_whole_and_bounded() -> None:
    """Digital zero and the unknown are the lowest; nothing is above full scale."""
    levels = [float("-inf"), float("nan"), -200.0, -12.4, 3.0]
    assert whole_db(levels) == [-72, -72, -72, -12, 0]
