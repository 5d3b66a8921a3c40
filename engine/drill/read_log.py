"""A drill as its session's log tells it."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from engine.drill.score import Call, Score, Seen, score
from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.messages import EventKind, Kind, PackLevel, Severity
from engine.model.tracks import Track
from engine.session import folders, reader
from engine.session.schema import NotALogError, open_to_read


@dataclass(frozen=True, slots=True)
class Drill:
    """One drill: what was asked for, and its score.

    utc_ms : when it began
    stopped : the crew ended it before the take did; it was watched for `score.watched_s`
    """

    utc_ms: int
    source: str
    title: str
    seed: int
    level: str
    blind: bool
    tracks: tuple[Track, ...]
    score: Score
    stopped: bool = False


def drill_of(folder: Path) -> Drill:
    """The drill of the session in that folder, as far as it went.

    Raises
    ------
    NotALogError, sqlite3.Error
        Where its log can't be read, or is of no drill.
    """
    with closing(open_to_read(folder / folders.LOG)) as log:
        log.execute("BEGIN")  # one moment of a log that may be growing
        row = log.execute("SELECT utc_ms, source, title, request FROM session").fetchone()
        request = Open() if row is None else dataclass_json.loads(Open, row[3])
        if row is None or request.seed is None:
            raise NotALogError(f"{folder.name}: this session was no drill")
        tracks = _tracks(log)
        made = score(
            tracks,
            _truths(log),
            reader.incidents(log),
            () if request.blind else _seen(log),  # nobody sees an alarm that is not shown
            _calls(log),
            reader.watched_s(log),
        )
        named = (request.seed, request.level, request.blind)
        stopped = reader.was_stopped(log)
        return Drill(row[0], row[1], row[2], *named, tracks, made, stopped)


def _tracks(log: sqlite3.Connection) -> tuple[Track, ...]:
    rows = log.execute(
        "SELECT input, name, kind, who, level, pack, placement, receiver FROM track ORDER BY place"
    )
    return tuple(
        Track(row[0], row[1], Kind(row[2]), row[3], PackLevel(row[4]) if row[4] else None, *row[5:])
        for row in rows
    )


def _truths(log: sqlite3.Connection) -> tuple[Truth, ...]:
    rows = log.execute(
        "SELECT number, cause, tracks, onset_s, end_s, strength, severity, remark"
        " FROM drill_fault ORDER BY onset_s, number"
    )
    return tuple(
        Truth(
            number,
            Cause(cause),
            tuple(json.loads(tracks)),
            onset_s,
            end_s,
            strength,
            Severity[severity.upper()] if severity else None,
            remark,
        )
        for number, cause, tracks, onset_s, end_s, strength, severity, remark in rows
    )


def _seen(log: sqlite3.Connection) -> tuple[Seen, ...]:
    query = "SELECT at_s, incident FROM change WHERE kind = ? ORDER BY at_s, id"
    return tuple(Seen(*row) for row in log.execute(query, (EventKind.SEEN.value,)))


def _calls(log: sqlite3.Connection) -> tuple[Call, ...]:
    query = "SELECT at_s, arguments FROM action WHERE command = 'CallCause' ORDER BY at_s, id"
    found = []
    for at_s, arguments in log.execute(query):
        told = json.loads(arguments)
        found.append(Call(at_s, told["track"], Cause(told["cause"])))
    return tuple(found)
