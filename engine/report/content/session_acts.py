"""What people did in a session, and what the watch missed, read from its log."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, Final

from engine.model import dataclass_json
from engine.model.line_results import Heard, findings
from engine.model.messages import EventKind, Kind, PackLevel
from engine.model.tracks import Plan
from engine.report.content import words
from engine.report.content.report_data import Break, Done, Note
from engine.session import reader

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


def _actions(log: sqlite3.Connection, *commands: str) -> Iterator[tuple[str, Any, str, float]]:
    """Command, its arguments, who, when; in order."""
    marks = ", ".join("?" * len(commands))
    rows = log.execute(
        f"SELECT command, arguments, who, at_s FROM action WHERE command IN ({marks})"
        " ORDER BY at_s, id",
        commands,
    )
    for command, arguments, who, at_s in rows:
        yield command, json.loads(arguments), who, at_s


def done(log: sqlite3.Connection, label: Label) -> Mapping[int, Sequence[Done]]:
    """What was done about each incident, by its id, in order."""
    found: defaultdict[int, list[Done]] = defaultdict(list)
    pressed = [
        (at_s, who)
        for _, _, who, at_s in _actions(
            log,
            *("Acknowledge", "AcknowledgeAll", "Unacknowledge"),
            *("Shelve", "Unshelve", "OutOfService"),
        )
    ]
    rows = log.execute("SELECT incident, kind, at_s, until_s FROM change ORDER BY at_s, id")
    for incident, kind, at_s, until_s in rows:
        if kind in _BY_THE_WATCH:
            continue
        text = _PLAIN.get(kind, kind)
        if kind == EventKind.SHELVED.value:
            text += " until put back" if until_s is None else f" until {label(until_s)}"
        near = [who for when, who in pressed if abs(when - at_s) <= _WITHIN_S]
        found[incident].append(Done(at_s, text, near[-1] if near else ""))
    for _, arguments, who, at_s in _actions(log, "Note"):
        found[arguments["incident_id"]].append(Done(at_s, f"note “{arguments['text']}”", who))
    return {incident: sorted(acts, key=lambda d: d.at_s) for incident, acts in found.items()}


def marks(log: sqlite3.Connection) -> tuple[Note, ...]:
    """Every mark."""
    rows = log.execute("SELECT at_s, text, who FROM mark ORDER BY at_s, id")
    return tuple(Note(*row) for row in rows)


def batteries(log: sqlite3.Connection) -> tuple[Note, ...]:
    """Every fresh battery."""
    found = []
    for _, arguments, who, at_s in _actions(log, "FreshBattery"):
        lasts = arguments.get("lasts")
        text = "fresh battery" + (f", lasts {lasts}" if lasts else "")
        since_s = arguments.get("at_s")
        found.append(Note(at_s if since_s is None else since_s, text, who, arguments["track"]))
    return tuple(found)


def line_check(log: sqlite3.Connection, plan: Plan) -> tuple[Note, ...]:
    """What the line check found of each track, in the order it was asked for."""
    if not log.execute("SELECT 1 FROM sqlite_schema WHERE name = 'line_check'").fetchone():
        return ()  # a log of before there was one
    safeties = {track.input for track in plan.tracks if track.level is PackLevel.SAFETY}
    talking = {track.input for track in plan.tracks if track.kind in (Kind.LAV, Kind.BOOM)}
    found = []
    rows = log.execute("SELECT track, verdict, note, heard, at_s FROM line_check ORDER BY id")
    for track, verdict, note, text, at_s in rows:
        heard = dataclass_json.loads(Heard, text)
        told = [*_heard(heard), *findings(heard, track in safeties, track in talking)]
        told += [f"note “{note}”"] if note else []
        found.append(Note(at_s, "; ".join([verdict, *told]), "", track))
    return tuple(found)


def _heard(heard: Heard) -> Iterator[str]:
    """The levels that came, with their units."""
    for name, level_dbfs in (
        ("speech", heard.speech_dbfs),
        ("peak", heard.peak_dbfs),
        ("floor", heard.floor_dbfs),
    ):
        if level_dbfs is not None:
            yield f"{name} {words.figure(level_dbfs, 'dBFS')}"
    if heard.offset_db is not None:
        yield f"main over safety {words.figure(heard.offset_db, 'dB')}"


def breaks(log: sqlite3.Connection, duration_s: float) -> tuple[Break, ...]:
    """Audio that was lost, times without an engine, standby and breaks, by their begin."""
    found = [*_lost(log), *_between_runs(log)]
    found += _held_back(log, "Standby", "standby: not rolling", duration_s)
    found += _held_back(log, "Break", "break", duration_s)
    return tuple(sorted(found, key=lambda one: one.start_s))


def _lost(log: sqlite3.Connection) -> list[Break]:
    found: list[Break] = []
    rows = log.execute("SELECT at_s, lost_s, reason FROM gap WHERE what = 'audio' ORDER BY at_s")
    for at_s, lost_s, reason in rows:
        text = f"{lost_s:.2f} s of audio lost: {reason}"
        start_s = max(at_s - max(lost_s, 0.0), 0.0)
        before = found[-1] if found else None
        if before and start_s - before.end_s <= _JOINED_S and before.text.endswith(reason):
            found.pop()
            start_s = before.start_s
            text = f"audio lost, up to {words.length(at_s - start_s)}: {reason}"
        found.append(Break(start_s, at_s, text))
    return found


def _between_runs(log: sqlite3.Connection) -> Iterator[Break]:
    """From where an engine ended, or was last heard of, to where the next one began."""
    runs = log.execute("SELECT at_s, end_s FROM run ORDER BY id").fetchall()
    for (_, end_s), (next_s, _) in pairwise(runs):
        if end_s is None:
            query = "SELECT coalesce(max(second) + 1, 0) FROM level WHERE second < ?"
            end_s = min(float(log.execute(query, (int(next_s),)).fetchone()[0]), next_s)
        if next_s > end_s:
            yield Break(end_s, next_s, "the watch was down and began again")


def _held_back(
    log: sqlite3.Connection, command: str, text: str, duration_s: float
) -> Iterator[Break]:
    since_s: float | None = None
    for _, arguments, _, at_s in _actions(log, command):
        if arguments["on"] and since_s is None:
            since_s = at_s
        elif not arguments["on"] and since_s is not None:
            yield Break(since_s, at_s, text, lost=False)
            since_s = None
    if since_s is not None:
        yield Break(since_s, duration_s, text, lost=False)


def honest(
    log: sqlite3.Connection, label: Label, duration_s: float, *, running: bool
) -> tuple[str, ...]:
    """What the log itself lacks, and how the session ended, one line each."""
    lines = []
    rows = log.execute("SELECT at_s, lines, reason FROM gap WHERE what = 'log' ORDER BY at_s")
    for at_s, count, reason in rows:
        told = words.count(count, "line")
        lines.append(f"The log lacks {told} near {label(at_s)}: {reason}")
    for (_, before), (second, after) in pairwise(reader.inputs(log)):
        for number in sorted(set(before) ^ set(after)):
            did = "was added to" if number in after else "was taken out of"
            lines.append(f"Input {number} {did} the plan at {label(second)}.")
    end = log.execute("SELECT end_reason FROM run ORDER BY id DESC LIMIT 1").fetchone()
    if running:
        lines.append(f"The watch still runs: this is how it stood at {label(duration_s)}.")
    elif end is None or end[0] is None:
        lines.append(f"The watch broke off at {label(duration_s)}: what came after is not known.")
    return tuple(lines)
