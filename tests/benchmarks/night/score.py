"""What the program said, held against what happened."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from tests.benchmarks.night.cases import Case
from tests.benchmarks.night.scenes import INPUTS
from tests.benchmarks.night.truth import Truth

TICK_S: Final = 0.11
"""Times may be late by a tick of the program and a window of the truth."""
ONSET_S: Final = 0.5
EARLY_S: Final = 1.0
AFTER_S: Final = 15.0
"""An alarm from 1 s before a fault to 15 s after it is counted as beside it, not as false."""

Incident = dict[str, Any]


@dataclass(slots=True)
class Result:
    """One take's score; times in seconds."""

    case: str
    seed: int
    chain: str
    harmless: bool
    truth: Truth | None = None
    detected: bool = False
    in_time: bool = False
    red_in_time: bool | None = None
    onset_right: bool = False
    one_alarm: bool | None = None
    late_s: float | None = None
    beside: list[Incident] = field(default_factory=list)
    false: list[Incident] = field(default_factory=list)
    instead: list[str] = field(default_factory=list)
    healthy_track_s: float = 0.0

    @property
    def due(self) -> bool:
        """Harmful and to be heard."""
        return self.truth is not None and self.truth.due_s is not None


def tracks_of(incident: Incident) -> set[int]:
    """The inputs of an incident, from 0; all of them where it names none."""
    named = set(incident.get("tracks") or [])
    if incident.get("track") is not None:
        named.add(incident["track"])
    return {n - 1 for n in named} or set(range(len(INPUTS)))


def alarm_s(incident: Incident) -> float | None:
    """When the incident became an alarm; None where it is a mark."""
    times = [t for t in (incident.get("amber_s"), incident.get("red_s")) if t is not None]
    return min(times) if times and incident.get("severity") in ("amber", "red") else None


def describe(incident: Incident) -> str:
    """One line: who, what, when, in the program's words."""
    names = ", ".join(INPUTS[n].name for n in sorted(tracks_of(incident))[:4])
    end = incident.get("end_s")
    until = "the end" if end is None else f"{end:.1f}"
    return (
        f"{incident['severity']:5} {incident['fault']:11} {names}: {incident['onset_s']:.1f} to "
        f"{until} s: {incident.get('detail') or ''}"
    )


def score(
    case: Case, truth: Truth | None, document: dict[str, Any], result: Result, seconds: float
) -> Result:
    """Fill in the result from the program's JSON."""
    alarms = [i for i in document["incidents"] if alarm_s(i) is not None]
    result.truth = truth
    if case.harmless:
        result.false = [i for i in alarms if i["fault"] not in case.beside]
        result.healthy_track_s = seconds * len(INPUTS)
        return result
    assert truth is not None
    result.healthy_track_s = seconds * (len(INPUTS) - len(truth.tracks))
    if case.evidence == "mark":
        _score_mark(case, truth, document, result)
        fitting: list[Incident] = []
    else:
        fitting = [i for i in alarms if fits(i, case, truth)]
        _score_alarms(case, truth, fitting, result)
    for alarm in alarms:
        if alarm in fitting:
            continue
        on_track = bool(tracks_of(alarm) & set(truth.tracks))
        near = overlaps(alarm, truth)
        if near and on_track:
            result.instead.append(alarm["fault"])
        if on_track and alarm["fault"] in case.beside:
            continue  # true as well, and perhaps planted before
        (result.beside if near else result.false).append(alarm)
    return result


def overlaps(alarm: Incident, truth: Truth) -> bool:
    """Whether the alarm stands near the fault in time."""
    start = alarm_s(alarm) or 0.0
    return truth.onset_s - EARLY_S <= start <= truth.end_s + AFTER_S


def fits(alarm: Incident, case: Case, truth: Truth) -> bool:
    """A fitting word, on a track of the fault, while it lasts or just after."""
    start = alarm_s(alarm) or 0.0
    return (
        alarm["fault"] in case.words
        and bool(tracks_of(alarm) & set(truth.tracks))
        and truth.onset_s - TICK_S <= start <= truth.end_s + AFTER_S
    )


def _score_alarms(case: Case, truth: Truth, fitting: Sequence[Incident], result: Result) -> None:
    if not fitting or truth.due_s is None or truth.amber_at_s is None:
        return
    result.detected = True
    first = min(alarm_s(i) or 0.0 for i in fitting)
    result.late_s = first - truth.amber_at_s
    result.in_time = result.late_s <= TICK_S
    result.onset_right = any(
        truth.onset_s - ONSET_S <= i["onset_s"] <= truth.due_s + ONSET_S for i in fitting
    )
    if truth.red_at_s is not None:
        reds = [i["red_s"] for i in fitting if i.get("red_s") is not None]
        result.red_in_time = bool(reds) and min(reds) <= truth.red_at_s + TICK_S
    if case.one_alarm:
        result.one_alarm = sum(1 for i in fitting if not i.get("part_of")) <= 1


def _score_mark(case: Case, truth: Truth, document: dict[str, Any], result: Result) -> None:
    """A mark is anything in the document that names the word and a track without being an alarm."""
    for key in ("marks", "notes", "history", "incidents"):
        for mark in document.get(key, []):
            words = {str(mark.get(name, "")) for name in ("fault", "kind", "mark", "what", "name")}
            start = mark.get("onset_s", mark.get("start_s", mark.get("from_s")))
            if start is None or alarm_s(mark) is not None or not words & case.words:
                continue
            if truth.tracks[0] in tracks_of(mark) and start <= truth.end_s:
                result.detected = result.in_time = True
                result.onset_right = abs(start - truth.onset_s) <= 2.0


def table(results: Sequence[Result]) -> str:
    """One row a kind of fault, then the sums."""
    head = (
        "kind",
        "events",
        "undue",
        "found",
        "in time",
        "red",
        "onset",
        "one",
        "beside",
        "late s",
    )
    names = sorted({r.case for r in results if not r.harmless})
    rows: list[tuple[str, ...]] = [head]
    rows += [_row(name, [r for r in results if r.case == name]) for name in names]
    harmful = [r for r in results if not r.harmless]
    if harmful:
        rows.append(_row("all", harmful))
    widths = [max(len(row[n]) for row in rows) for n in range(len(head))]
    instead = {name: _instead([r for r in results if r.case == name]) for name in names}
    lines = []
    for row in rows:
        cells = [cell.rjust(width) for cell, width in zip(row, widths, strict=True)]
        cells[0] = row[0].ljust(widths[0])
        lines.append("  ".join([*cells, instead.get(row[0], "")]).rstrip())
    return "\n".join(lines)


def _instead(results: Sequence[Result]) -> str:
    counted = Counter(word for r in results if r.due and not r.detected for word in set(r.instead))
    missed = any(r.due and not r.detected for r in results)
    words = ", ".join(word for word, _ in counted.most_common(4))
    return f"missed{': ' + words if words else ': nothing said'}" if missed else ""


def _row(name: str, results: Sequence[Result]) -> tuple[str, ...]:
    due = [r for r in results if r.due]
    reds = [r.red_in_time for r in due if r.truth and r.truth.red_at_s is not None]
    ones = [bool(r.one_alarm) for r in due if r.one_alarm is not None]
    late = [r.late_s for r in due if r.late_s is not None]
    return (
        name,
        str(len(results)),
        str(len(results) - len(due)) if len(due) < len(results) else "",
        _share([r.detected for r in due]),
        _share([r.in_time for r in due]),
        _share([bool(r) for r in reds]),
        _share([r.onset_right for r in due if r.detected]),
        _share(ones),
        str(sum(1 for r in results if r.beside) or ""),
        f"{max(late):+.1f}" if late else "",
    )


def _share(marks: Sequence[bool]) -> str:
    return f"{100.0 * sum(marks) / len(marks):.0f} %" if marks else ""


def false_alarms(results: Sequence[Result]) -> str:
    """Rates of false alarms a healthy track-hour, then each with its words."""
    lines = []
    for title, chosen in (
        ("harmless takes", [r for r in results if r.harmless and r.case != "healthy hours"]),
        ("healthy hours", [r for r in results if r.case == "healthy hours"]),
        ("beside and between faults, other tracks", [r for r in results if not r.harmless]),
    ):
        if not chosen:
            continue
        hours = max(sum(r.healthy_track_s for r in chosen), 1e-9) / 3600.0
        alarms = [i for r in chosen for i in r.false]
        red = sum(1 for i in alarms if i["severity"] == "red")
        lines.append(
            f"{title}: {len(chosen)} takes, {hours:.2f} healthy track-hours, false: "
            f"{len(alarms) - red} amber, {red} red ({(len(alarms) - red) / hours:.2f} and "
            f"{red / hours:.2f} a track-hour); silent takes {sum(not r.false for r in chosen)}"
        )
        lines += [
            f"  {r.case} (seed {r.seed}, {r.chain}): {describe(i)}" for r in chosen for i in r.false
        ]
    events = [r for r in results if not r.harmless]
    lines += [
        f"undue: {r.case} (seed {r.seed}): not to be heard, or too little speech"
        for r in events
        if not r.due
    ]
    if events:
        wrong = [r for r in events if r.beside]
        lines.append(f"events with a wrong alarm beside: {len(wrong)} of {len(events)}")
        lines += [
            f"  {r.case} (seed {r.seed}, {r.chain}): {describe(i)}" for r in wrong for i in r.beside
        ]
    return "\n".join(lines)
