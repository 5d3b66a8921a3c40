"""What a plan may change while it is watched by, and which changes begin the judging anew."""

from __future__ import annotations

from typing import Any

from engine.model.alarm_limits import Value
from engine.model.tracks import Plan, Scene, Track


class PlanChangeError(Exception):
    """A change that can't be made while watching; one clear line."""


def refuse_other_ways(before: Plan, after: Plan) -> None:
    """PlanChangeError where the frame rate or the way of rolling differ."""
    if before.frame_rate != after.frame_rate:
        raise PlanChangeError("frame_rate can't be changed while watching: start the watch anew")
    if before.rolling != after.rolling:
        raise PlanChangeError("rolling can't be changed while watching: start the watch anew")


def judged(scene: Scene) -> tuple[Any, ...]:
    """All that detectors go by of each track; names, packs, receivers and so on are not in it."""
    return tuple((t.input, t.kind, t.who, t.level, _limits(t)) for t in scene.tracks)


def _limits(track: Track) -> tuple[tuple[str, Value], ...]:
    return tuple(sorted({**track.kind_limits, **track.limits}.items()))
