"""What a session log tells: the session itself, its incidents, how it ended."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.messages import Fault, Incident, Severity
from engine.session import folders
from engine.session.schema import STOPPED_BY, NotALogError, open_to_read


@dataclass(frozen=True, slots=True)
class SessionSummary:
    """One session in short. `state` is running, ended or broken off; `drill` its level and seed."""

    folder: Path
    utc_ms: int
    watched_s: float
    source: str
    title: str
    tracks: int
    reds: int
    state: str
    drill: str = ""


def story(folder: Path) -> SessionSummary:
    """The session in that folder.

    Raises
    ------
    NotALogError, sqlite3.Error
        Where its log is torn, foreign or can't be read.
    """
    log = open_to_read(folder / folders.LOG)
    try:
        row = log.execute("SELECT utc_ms, source, title, request FROM session").fetchone()
        if row is None:
            raise NotALogError(f"{folder}: broke off before it began")
        utc_ms, source, title, request = row
        tracks = log.execute("SELECT count(*) FROM track").fetchone()[0]
        reds = log.execute("SELECT count(*) FROM incident WHERE red_s IS NOT NULL").fetchone()[0]
        end = log.execute("SELECT end_reason FROM run ORDER BY id DESC LIMIT 1").fetchone()
        state = "ended" if end is not None and end[0] is not None else "broken off"
        if folders.is_locked(folder):
            state = "running"
        told = (watched_s(log), source, title, tracks, reds, state, _drill(request))
        return SessionSummary(folder, utc_ms, *told)
    finally:
        log.close()


def _drill(request: str) -> str:
    asked = dataclass_json.loads(Open, request)
    return "" if asked.seed is None else f"{asked.level}, seed {asked.seed}"


def was_stopped(log: sqlite3.Connection) -> bool:
    """Somebody ended the watch before its take did."""
    end = log.execute("SELECT end_reason FROM run ORDER BY id DESC LIMIT 1").fetchone()
    return end is not None and (end[0] or "").startswith(STOPPED_BY)


def inputs(log: sqlite3.Connection) -> list[tuple[int, list[int]]]:
    """Which inputs were watched from which second on; empty where an older log does not say."""
    if not log.execute("SELECT 1 FROM sqlite_schema WHERE name = 'inputs'").fetchone():
        return []
    rows = log.execute("SELECT from_second, inputs FROM inputs ORDER BY from_second")
    return [(second, json.loads(text)) for second, text in rows]


def watched_s(log: sqlite3.Connection) -> float:
    """Stream time up to which the session was watched, s."""
    end = log.execute("SELECT end_s FROM run ORDER BY id DESC LIMIT 1").fetchone()
    if end is not None and end[0] is not None:
        return float(end[0])
    return float(log.execute("SELECT coalesce(max(second) + 1, 0) FROM level").fetchone()[0])


def lost_s(log: sqlite3.Connection) -> float:
    """Audio lost in all, s."""
    query = "SELECT coalesce(sum(lost_s), 0.0) FROM gap WHERE what = 'audio'"
    return float(log.execute(query).fetchone()[0])


def incidents(log: sqlite3.Connection) -> tuple[Incident, ...]:
    """Every incident of the session, by onset."""
    columns = "id, track, fault, severity, onset_s, amber_s, red_s, end_s, covered_by, uncovered"
    rows = log.execute(
        f"SELECT {columns}, detail, tracks, part_of FROM incident ORDER BY onset_s, id"
    )
    return tuple(_incident(row) for row in rows)


def incidents_of(folder: Path) -> tuple[Incident, ...]:
    """Every incident of the session in that folder.

    Raises
    ------
    NotALogError, sqlite3.Error
        Where its log is torn, foreign or can't be read.
    """
    with closing(open_to_read(folder / folders.LOG)) as log:
        return incidents(log)


def _incident(row: tuple[Any, ...]) -> Incident:
    number, track, fault, severity, onset_s, amber_s, red_s, end_s = row[:8]
    cover, uncovered, detail, tracks, part_of = row[8:]
    return Incident(
        id=number,
        track=track,
        fault=Fault(fault),
        severity=Severity[severity.upper()],
        onset_s=onset_s,
        amber_s=amber_s,
        red_s=red_s,
        end_s=end_s,
        covered_by=cover,
        uncovered=bool(uncovered),
        detail=detail,
        tracks=tuple(json.loads(tracks)),
        part_of=part_of,
    )
