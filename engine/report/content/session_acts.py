"""What people did in a session, and what the watch missed, read from its log."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Final

from engine.model.line_results import Heard, findings
from engine.model.messages import EventKind, Kind, PackLevel
from engine.model.number_text import number
from engine.model.safe_text import harmless, without_numbers
from engine.model.tracks import Plan
from engine.report.content import words
from engine.report.content.report_data import Break, Done, Note
from engine.session.reader import SessionReader

Label = Callable[[float], str]

_BY_THE_WATCH: Final = frozenset(
    kind.value
    for kind in (
        *(EventKind.RAISED, EventKind.ESCALATED, EventKind.RENAMED, EventKind.CLEARED),
        *(EventKind.SUPPRESSED, EventKind.UNSUPPRESSED),
    )
)
_PLAIN: Final = {
    EventKind.UNSEEN.value: "seen taken back",
    EventKind.UNSHELVED.value: "put back",
    EventKind.IN_SERVICE.value: "back in service",
}
"""As the board says it, where that is not the log's word."""
_WITHIN_S: Final = 0.5
"""A key and what it changed lie at most this far apart."""

_JOINED_S: Final = 1.5
"""Losses told a second after another are one gap."""


def done(log: SessionReader, label: Label) -> Mapping[int, Sequence[Done]]:
    """What was done about each incident, by its id, in order."""
    acts: defaultdict[int, list[Done]] = defaultdict(list)
    pressed = log.actions(
        *("Acknowledge", "AcknowledgeAll", "Unacknowledge"),
        *("Shelve", "Unshelve", "OutOfService"),
    )
    for change in log.changes():
        if change.kind in _BY_THE_WATCH:
            continue
        text = _PLAIN.get(change.kind, change.kind)
        if change.kind == EventKind.SHELVED.value:
            until_s = change.until_s
            text += " until put back" if until_s is None else f" until {label(until_s)}"
        near = [key.who for key in pressed if abs(key.at_s - change.at_s) <= _WITHIN_S]
        acts[change.incident].append(Done(change.at_s, text, near[-1] if near else ""))
    for note in log.actions("Note"):
        text = f"note “{note.arguments['text']}”"
        acts[note.arguments["incident_id"]].append(Done(note.at_s, text, note.who))
    for attended in log.actions("Attend"):
        said = attended.arguments
        stage = said["stage"] or "no longer on the way"
        acts[said["incident_id"]].append(
            Done(attended.at_s, f"{said['name']}: {stage}", attended.who)
        )
    return {incident: sorted(its, key=lambda d: d.at_s) for incident, its in acts.items()}


def marks(log: SessionReader) -> tuple[Note, ...]:
    """Every mark."""
    return tuple(Note(mark.at_s, mark.text, mark.who) for mark in log.marks())


def batteries(log: SessionReader) -> tuple[Note, ...]:
    """Every fresh battery."""
    notes = []
    for action in log.actions("FreshBattery"):
        lasts, since_s = action.arguments.get("lasts"), action.arguments.get("at_s")
        text = "fresh battery" + (f", lasts {lasts}" if lasts else "")
        at_s = action.at_s if since_s is None else since_s
        notes.append(Note(at_s, text, action.who, action.arguments["track"]))
    return tuple(notes)


def line_check(log: SessionReader, plan: Plan) -> tuple[Note, ...]:
    """What the line check found of each track, in the order it was asked for."""
    safeties = {track.input for track in plan.tracks if track.level is PackLevel.SAFETY}
    talking = {track.input for track in plan.tracks if track.kind in (Kind.LAV, Kind.BOOM)}
    notes = []
    for one in log.line_checks():
        parts = [one.verdict, *_heard(one.heard)]
        parts += findings(one.heard, one.track in safeties, one.track in talking)
        parts += [f"note “{one.note}”"] if one.note else []
        notes.append(Note(one.at_s, "; ".join(parts), "", one.track))
    return tuple(notes)


def _heard(heard: Heard) -> Iterator[str]:
    """The levels that came, with their units."""
    for name, level_dbfs in (
        ("speech", heard.speech_dbfs),
        ("peak", heard.peak_dbfs),
        ("floor", heard.floor_dbfs),
    ):
        if level_dbfs is not None:
            yield f"{name} {number(level_dbfs, 'dBFS')}"
    if heard.offset_db is not None:
        yield f"main over safety {number(heard.offset_db, 'dB')}"


def breaks(log: SessionReader, duration_s: float) -> tuple[Break, ...]:
    """Audio that was lost, times without an engine, standby and breaks, by their begin."""
    everything = [*_lost(log), *_between_runs(log)]
    everything += _held_back(log, "Standby", "standby: not rolling", duration_s)
    everything += _held_back(log, "Break", "break", duration_s)
    return tuple(sorted(everything, key=lambda one: one.start_s))


def _lost(log: SessionReader) -> list[Break]:
    losses: list[Break] = []
    for gap in log.gaps("audio"):
        text = f"{gap.lost_s:.2f} s of audio lost: {gap.reason}"
        start_s = max(gap.at_s - max(gap.lost_s, 0.0), 0.0)
        before = losses[-1] if losses else None
        if before and start_s - before.end_s <= _JOINED_S and before.text.endswith(gap.reason):
            losses.pop()
            start_s = before.start_s
            text = f"audio lost, up to {words.length(gap.at_s - start_s)}: {gap.reason}"
        losses.append(Break(start_s, gap.at_s, text))
    return losses


def _between_runs(log: SessionReader) -> Iterator[Break]:
    """From where an engine ended, or was last heard of, to where the next one began."""
    for run, following in pairwise(log.runs()):
        end_s = run.end_s
        if end_s is None:
            end_s = min(log.levels_until(int(following.at_s)) or 0.0, following.at_s)
        if following.at_s > end_s:
            yield Break(end_s, following.at_s, "the watch was down and began again")


def _held_back(log: SessionReader, command: str, text: str, duration_s: float) -> Iterator[Break]:
    since_s: float | None = None
    for action in log.actions(command):
        if action.arguments["on"] and since_s is None:
            since_s = action.at_s
        elif not action.arguments["on"] and since_s is not None:
            yield Break(since_s, action.at_s, text, lost=False)
            since_s = None
    if since_s is not None:
        yield Break(since_s, duration_s, text, lost=False)


def _problems(log: SessionReader, label: Label) -> Iterator[str]:
    """What the watch or its computer could not do; the same of other amounts is told once."""
    times: defaultdict[str, list[float]] = defaultdict(list)
    first: dict[str, str] = {}
    for at_s, text in log.problems():
        kind = without_numbers(text)
        times[kind].append(at_s)
        first.setdefault(kind, harmless(text))
    for kind, text in first.items():
        begun_s, last_s = times[kind][0], times[kind][-1]
        often = f", {len(times[kind])} times until {label(last_s)}" if last_s > begun_s else ""
        yield f"{text[:1].upper()}{text[1:]} (at {label(begun_s)}{often})."


def honest(
    log: SessionReader, label: Label, duration_s: float, *, running: bool
) -> tuple[str, ...]:
    """What the log itself lacks, and how the session ended, one line each."""
    lines = []
    for gap in log.gaps("log"):
        count = words.count(gap.lines, "line")
        lines.append(f"The log lacks {count} near {label(gap.at_s)}: {gap.reason}")
    lines += log.notices()
    lines += _problems(log, label)
    for from_s, text in log.plans().changes():
        lines.append(f"The plan was changed at {label(from_s)}" + (f": {text}." if text else "."))
    for (_, before), (second, after) in pairwise(log.inputs()):
        for changed in sorted(set(before) ^ set(after)):
            did = "was added to" if changed in after else "was taken out of"
            lines.append(f"Input {changed} {did} the plan at {label(second)}.")
    runs = log.runs()
    if running:
        lines.append(f"The watch still runs: this is how it stood at {label(duration_s)}.")
    elif not runs or runs[-1].end_reason is None:
        lines.append(f"The watch broke off at {label(duration_s)}: what came after is not known.")
    return tuple(lines)
