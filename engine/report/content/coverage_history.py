"""Coverage over a watch whose plan changed: each moment by the plan it had then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from engine.alarms.coverage_timeline import CoverageTimeline, Stretch, WhoCoverage
from engine.model.messages import Incident
from engine.session.plan_history import PlanHistory


class CoverageHistory:
    """Like `CoverageTimeline`, of a watch of `duration_s` that went by those plans."""

    def __init__(
        self, plans: PlanHistory, incidents: Sequence[Incident], duration_s: float
    ) -> None:
        starts = [max(from_s, 0.0) for from_s, _ in plans.versions]
        bounds = [0.0, *starts[1:], max(duration_s, starts[-1])]
        self._spans = list(pairwise(bounds))
        self._timelines = [
            CoverageTimeline(plan.tracks, incidents, duration_s) for _, plan in plans.versions
        ]

    def span(self, incident: Incident) -> tuple[float, float]:
        """Onset and end within the watch, s."""
        return self._timelines[0].span(incident)

    def instead(self, incident: Incident) -> tuple[Stretch, ...]:
        """What to use instead of the incident's track, stretch by stretch."""
        pieces: list[Stretch] = []
        for (from_s, until_s), timeline in self._each():
            pieces += _clipped(timeline.instead(incident), from_s, until_s)
        return _joined(pieces)

    def whos(self) -> tuple[WhoCoverage, ...]:
        """Every `who` that wore a pack, by the first plan that names them."""
        whole: dict[str, WhoCoverage] = {}
        for (from_s, until_s), timeline in self._each():
            for who in timeline.whos():
                pieces = _clipped(who.stretches, from_s, until_s)
                known = whole.setdefault(who.who, replace(who, stretches=()))
                tracks = tuple(dict.fromkeys((*known.tracks, *who.tracks)))
                stretches = _joined([*known.stretches, *pieces])
                whole[who.who] = WhoCoverage(who.who, tracks, stretches)
        return tuple(whole.values())

    def _each(self) -> zip[tuple[tuple[float, float], CoverageTimeline]]:
        return zip(self._spans, self._timelines, strict=True)


def _clipped(stretches: Sequence[Stretch], from_s: float, until_s: float) -> list[Stretch]:
    """Those parts that lie between the two."""
    inside = (
        Stretch(max(one.start_s, from_s), min(one.end_s, until_s), one.use) for one in stretches
    )
    return [one for one in inside if one.length_s > 0.0]


def _joined(pieces: Sequence[Stretch]) -> tuple[Stretch, ...]:
    """Pieces that touch and say the same are one."""
    joined: list[Stretch] = []
    for piece in pieces:
        last = joined[-1] if joined else None
        if last is not None and last.use == piece.use and last.end_s == piece.start_s:
            joined[-1] = Stretch(last.start_s, piece.end_s, piece.use)
        else:
            joined.append(piece)
    return tuple(joined)
