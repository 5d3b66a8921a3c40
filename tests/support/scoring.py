"""Delay, misses and false alarms of a run against planted faults.

Incidents are those of `scan --json` (mappings); truths say what was planted and by when it had to
be told. An undefined score is NaN; read a delay next to its misses.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any, Final

GRACE_S: Final = 0.5
EARLY_S: Final = 2.0
"""An incident may begin this long before the truth and still be about it."""
LATE_S: Final = 5.0
"""An incident that begins this long after a fault's end may still be its echo."""
LOSS: Final = frozenset({"muted", "dead_mic", "silent"})
"""One loss, one incident, renamed when more is known (CONTRACT.md): one family. Any other
fault is a family of its own."""

Incident = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Truth:
    """One planted fault and what had to be said of it.

    label : row of the table it counts in
    tracks : input numbers; an incident on any of them may be about it
    names : faults that are a right name; one of their family finds it, of any other does not
    amber_within_s, red_within_s : deadline after the onset, without grace; None: none is due
    whole : the fault of a whole receiver; only an incident that gathers all tracks finds it
    audible_s : when it could be heard first, where later than the onset; None: at the onset
    """

    label: str
    tracks: tuple[int, ...]
    names: tuple[str, ...]
    onset_s: float
    end_s: float
    strength: float
    amber_within_s: float | None
    red_within_s: float | None = None
    whole: bool = False
    audible_s: float | None = None
    remark: str = ""

    @property
    def family(self) -> frozenset[str]:
        """The faults by which it counts as found."""
        return frozenset(self.names) | (LOSS if LOSS.intersection(self.names) else frozenset())


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run said of one truth; times in seconds after the onset, NaN where never.

    `named`: found, and by a right name. `beside`: a fault of another family that nothing planted
    on those tracks explains was said as well. `onset_error_s` is the incident's own onset less
    the true one.
    """

    truth: Truth
    found: bool
    named: bool
    beside: bool = False
    amber_s: float = math.nan
    red_s: float = math.nan
    onset_error_s: float = math.nan

    @property
    def amber_kept(self) -> bool:
        """Amber came by its deadline and the grace (where it was due at all)."""
        due = self.truth.amber_within_s
        return due is None or self.amber_s <= due + GRACE_S

    @property
    def red_kept(self) -> bool:
        """Red came by its deadline and the grace (where it was due at all)."""
        due = self.truth.red_within_s
        return due is None or self.red_s <= due + GRACE_S


@dataclass(frozen=True, slots=True)
class FalseAlarm:
    """An incident that no planted fault explains."""

    fault: str
    severity: str
    tracks: tuple[int, ...]
    onset_s: float
    detail: str


@dataclass(frozen=True, slots=True)
class SceneScore:
    """One scene: what was found, what was wrongly said, and how much healthy time there was.

    `healthy_s` adds up the seconds of every track in which nothing planted was, or had just been.
    """

    outcomes: tuple[Outcome, ...]
    false: tuple[FalseAlarm, ...]
    healthy_s: float


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the table; shares are 0 to 1, NaN where nothing was due."""

    label: str
    events: int
    found: float
    named: float
    beside: float
    amber_median_s: float
    amber_worst_s: float
    amber_kept: float
    red_median_s: float
    red_worst_s: float
    red_kept: float
    onset_error_median_s: float
    onset_error_worst_s: float


def score_scene(
    incidents: Sequence[Incident],
    truths: Sequence[Truth],
    tracks: Sequence[int],
    duration_s: float,
) -> SceneScore:
    """Match one scene's incidents with its truths."""
    outcomes = tuple(_outcome(t, incidents, truths) for t in truths if t.amber_within_s is not None)
    unexplained = [i for i in incidents if not any(_about(i, t) for t in truths)]
    false = tuple(
        FalseAlarm(i["fault"], i["severity"], _tracks(i), i["onset_s"], i.get("detail", ""))
        for i in unexplained
    )
    healthy_s = sum(duration_s - _spoiled_s(truths, track, duration_s) for track in tracks)
    return SceneScore(outcomes, false, healthy_s)


def table(scores: Iterable[SceneScore]) -> list[Line]:
    """One line a label over all scenes, in alphabetical order."""
    by_label: dict[str, list[Outcome]] = {}
    for score in scores:
        for outcome in score.outcomes:
            by_label.setdefault(outcome.truth.label, []).append(outcome)
    return [_line(label, by_label[label]) for label in sorted(by_label)]


def false_per_hour(scores: Sequence[SceneScore], severity: str) -> float:
    """Unexplained incidents of that worst severity per healthy track-hour; NaN without any."""
    hours = sum(score.healthy_s for score in scores) / 3600.0
    count = sum(1 for score in scores for f in score.false if f.severity == severity)
    return count / hours if hours > 0.0 else math.nan


def found_by_strength(
    outcomes: Iterable[Outcome], edges: Sequence[float]
) -> list[tuple[float, float, int]]:
    """(mean strength, share found, events) of each bin [edge, next); the last bin is closed."""
    bins: list[list[Outcome]] = [[] for _ in edges[1:]]
    for outcome in outcomes:
        place = sum(1 for edge in edges[1:-1] if outcome.truth.strength >= edge)
        bins[place].append(outcome)
    return [
        (
            sum(o.truth.strength for o in found) / len(found) if found else (a + b) / 2,
            _share(o.found for o in found),
            len(found),
        )
        for a, b, found in zip(edges[:-1], edges[1:], bins, strict=True)
    ]


def _outcome(truth: Truth, incidents: Sequence[Incident], truths: Sequence[Truth]) -> Outcome:
    near = [i for i in incidents if _about(i, truth) and i["amber_s"] is not None]
    about = [i for i in near if i["fault"] in truth.family]
    beside = not truth.whole and any(_unplanted(i, truths) for i in near)
    if truth.whole:
        about = [i for i in about if i["track"] is None and set(truth.tracks) <= set(_tracks(i))]
    elif len(truth.tracks) == 1:
        about = [i for i in about if i["track"] is not None]
    if not about:
        return Outcome(truth, found=False, named=False, beside=beside)
    right = [i for i in about if i["fault"] in truth.names]
    told = right or about
    ambers = [i["amber_s"] - truth.onset_s for i in told]
    reds = [i["red_s"] - truth.onset_s for i in told if i["red_s"] is not None]
    first = min(told, key=lambda i: i["amber_s"])
    return Outcome(
        truth,
        found=True,
        named=bool(right),
        beside=beside,
        amber_s=min(ambers),
        red_s=min(reds, default=math.nan),
        onset_error_s=_onset_error_s(first["onset_s"], truth),
    )


def _onset_error_s(told_s: float, truth: Truth) -> float:
    audible_s = truth.onset_s if truth.audible_s is None else truth.audible_s
    return told_s - min(max(told_s, truth.onset_s), audible_s)


def _about(incident: Incident, truth: Truth) -> bool:
    shared = set(_tracks(incident)) & set(truth.tracks)
    begin, end = truth.onset_s - EARLY_S, truth.end_s + LATE_S
    return bool(shared) and begin <= incident["onset_s"] <= end


def _unplanted(incident: Incident, truths: Sequence[Truth]) -> bool:
    return not any(_about(incident, t) and incident["fault"] in t.family for t in truths)


def _tracks(incident: Incident) -> tuple[int, ...]:
    several = tuple(incident.get("tracks") or ())
    return several or ((incident["track"],) if incident["track"] is not None else ())


def _spoiled_s(truths: Sequence[Truth], track: int, duration_s: float) -> float:
    """Seconds of that track in which an incident would be explained."""
    spans = sorted(
        (max(0.0, t.onset_s - EARLY_S), min(duration_s, t.end_s + LATE_S))
        for t in truths
        if track in t.tracks
    )
    total, reached = 0.0, 0.0
    for begin, end in spans:
        total += max(0.0, end - max(begin, reached))
        reached = max(reached, end)
    return total


def _line(label: str, outcomes: Sequence[Outcome]) -> Line:
    ambers = [o.amber_s for o in outcomes if o.found]
    due_red = [o for o in outcomes if o.truth.red_within_s is not None]
    reds = [o.red_s for o in due_red if not math.isnan(o.red_s)]
    errors = [abs(o.onset_error_s) for o in outcomes if o.found]
    return Line(
        label=label,
        events=len(outcomes),
        found=_share(o.found for o in outcomes),
        named=_share(o.named for o in outcomes if o.found),
        beside=_share(o.beside for o in outcomes),
        amber_median_s=median(ambers) if ambers else math.nan,
        amber_worst_s=max(ambers, default=math.nan),
        amber_kept=_share(o.amber_kept for o in outcomes),
        red_median_s=median(reds) if reds else math.nan,
        red_worst_s=max(reds, default=math.nan),
        red_kept=_share(o.red_kept for o in due_red),
        onset_error_median_s=median(errors) if errors else math.nan,
        onset_error_worst_s=max(errors, default=math.nan),
    )


def _share(hits: Iterable[bool]) -> float:
    flags = list(hits)
    return sum(flags) / len(flags) if flags else math.nan
