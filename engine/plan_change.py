"""What a plan may change while it is watched by, and which changes begin the judging anew."""

from __future__ import annotations

from typing import Any

from engine.tracks import Plan, Scene


class PlanChangeError(Exception):
    """A change that can't be made while watching; one clear line."""


def refuse_other_inputs(before: Plan, after: Plan) -> None:
    """PlanChangeError where the inputs, the frame rate or the way of rolling differ."""
    known, asked = ({t.input for t in plan.tracks} for plan in (before, after))
    if known != asked:
        others = ", ".join(map(str, sorted(known ^ asked)))
        raise PlanChangeError(
            f"input {others}: tracks can't be added or taken away while watching; make one "
            "unused instead, or save the plan and start the watch anew"
        )
    if before.frame_rate != after.frame_rate:
        raise PlanChangeError("frame_rate can't be changed while watching: start the watch anew")
    if before.rolling != after.rolling:
        raise PlanChangeError("rolling can't be changed while watching: start the watch anew")


def judged(scene: Scene) -> tuple[Any, ...]:
    """All that detectors go by; names, packs, places, receivers and batteries are not among it."""
    return tuple(
        (t.input, t.kind, t.who, t.level, dict(t.limits), dict(t.kind_limits)) for t in scene.tracks
    )
