"""The session log's tables (SQLite), their version, and how to open one without harming others.

Times: `at_s` is stream time, `frame` the sample position it stands for, `utc_ms` the wall clock in
milliseconds since 1970, `timecode` the frame label. Wall clock is only told, never reckoned with.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Final

from engine.session.views import VIEWS

APPLICATION_ID: Final = 0x74774C67
"""Written into the file's header, so that another program's SQLite file is told apart."""

STOPPED_BY: Final = "stopped by"
"""How a run's end reason begins where somebody ended the watch before its take did."""

_FIRST: Final = """
CREATE TABLE session (
    id INTEGER PRIMARY KEY CHECK (id = 1), utc_ms INTEGER NOT NULL, program TEXT NOT NULL,
    source TEXT NOT NULL, live INTEGER NOT NULL, sample_rate_hz INTEGER NOT NULL,
    channels INTEGER NOT NULL, host_api TEXT NOT NULL,
    frame_rate TEXT NOT NULL, start_s REAL NOT NULL, title TEXT NOT NULL,
    request TEXT NOT NULL, plan TEXT NOT NULL);
CREATE TABLE track (
    place INTEGER PRIMARY KEY, input INTEGER NOT NULL UNIQUE, name TEXT NOT NULL,
    kind TEXT NOT NULL, who TEXT NOT NULL, level TEXT NOT NULL, pack TEXT NOT NULL,
    placement TEXT NOT NULL, receiver TEXT NOT NULL, battery TEXT NOT NULL);
CREATE TABLE run (
    id INTEGER PRIMARY KEY, utc_ms INTEGER NOT NULL, at_s REAL NOT NULL, frame INTEGER NOT NULL,
    pid INTEGER NOT NULL, end_utc_ms INTEGER, end_s REAL, end_reason TEXT);
CREATE TABLE incident (
    id INTEGER PRIMARY KEY, track INTEGER, tracks TEXT NOT NULL, fault TEXT NOT NULL,
    severity TEXT NOT NULL, onset_s REAL NOT NULL, amber_s REAL, red_s REAL, end_s REAL,
    covered_by INTEGER, uncovered INTEGER NOT NULL, detail TEXT NOT NULL, part_of TEXT);
CREATE TABLE change (
    id INTEGER PRIMARY KEY, incident INTEGER NOT NULL REFERENCES incident (id),
    kind TEXT NOT NULL, state TEXT NOT NULL, severity TEXT NOT NULL, fault TEXT NOT NULL,
    at_s REAL NOT NULL, frame INTEGER NOT NULL, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL,
    until_s REAL);
CREATE INDEX change_incident ON change (incident);
CREATE TABLE action (
    id INTEGER PRIMARY KEY, command TEXT NOT NULL, arguments TEXT NOT NULL,
    who TEXT NOT NULL, place TEXT NOT NULL, pid INTEGER NOT NULL,
    at_s REAL NOT NULL, frame INTEGER NOT NULL, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL);
CREATE TABLE mark (
    id INTEGER PRIMARY KEY, text TEXT NOT NULL,
    who TEXT NOT NULL, place TEXT NOT NULL, pid INTEGER NOT NULL,
    at_s REAL NOT NULL, frame INTEGER NOT NULL, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL);
CREATE TABLE level (second INTEGER PRIMARY KEY, utc_ms INTEGER NOT NULL, levels BLOB NOT NULL);
CREATE TABLE gap (
    id INTEGER PRIMARY KEY, what TEXT NOT NULL CHECK (what IN ('audio', 'log')),
    at_s REAL NOT NULL, frame INTEGER NOT NULL, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL,
    lost_s REAL NOT NULL, lines INTEGER NOT NULL, reason TEXT NOT NULL);
CREATE TABLE kept (id INTEGER PRIMARY KEY CHECK (id = 1), state TEXT NOT NULL);
"""

_LINE_CHECK: Final = """
CREATE TABLE line_check (
    id INTEGER PRIMARY KEY, track INTEGER NOT NULL, verdict TEXT NOT NULL, note TEXT NOT NULL,
    heard TEXT NOT NULL,
    at_s REAL NOT NULL, frame INTEGER NOT NULL, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL);
"""

_DRILL: Final = """
CREATE TABLE drill_fault (
    number INTEGER PRIMARY KEY, cause TEXT NOT NULL, tracks TEXT NOT NULL, onset_s REAL NOT NULL,
    end_s REAL NOT NULL, strength REAL NOT NULL, severity TEXT, remark TEXT NOT NULL);
"""

_STRETCH: Final = """
CREATE TABLE stretch (
    begin_s REAL PRIMARY KEY, end_s REAL NOT NULL, figures TEXT NOT NULL, gates BLOB NOT NULL);
"""

_INPUTS: Final = """
CREATE TABLE inputs (from_second INTEGER PRIMARY KEY, inputs TEXT NOT NULL);
"""
"""What the levels of each second from that one on are of, as a JSON list; before any row, and in
older logs, all tracks in order. Since then `track` also holds those taken out of the watch."""

_ENVELOPE: Final = """
CREATE TABLE envelope (second INTEGER PRIMARY KEY, levels BLOB NOT NULL);
"""
"""RMS of every track ten times a second, a byte each (`second_levels.pack_envelope`)."""

_PLANS: Final = f"""
CREATE TABLE plan_version (
    from_s REAL PRIMARY KEY, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL, title TEXT NOT NULL,
    plan TEXT NOT NULL);
CREATE TABLE plan_track (
    from_s REAL NOT NULL REFERENCES plan_version (from_s), input INTEGER NOT NULL,
    name TEXT NOT NULL, kind TEXT NOT NULL, who TEXT NOT NULL, level TEXT NOT NULL,
    pack TEXT NOT NULL, placement TEXT NOT NULL, receiver TEXT NOT NULL, battery TEXT NOT NULL,
    PRIMARY KEY (from_s, input)) WITHOUT ROWID;
INSERT INTO plan_version SELECT 0.0, utc_ms, '', title, plan FROM session;
INSERT INTO plan_track SELECT 0.0, input, name, kind, who, level, pack, placement, receiver,
    battery FROM track WHERE EXISTS (SELECT 1 FROM session);
CREATE TABLE notice (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
ALTER TABLE incident ADD COLUMN onset_timecode TEXT NOT NULL DEFAULT '';
ALTER TABLE incident ADD COLUMN end_timecode TEXT NOT NULL DEFAULT '';
{VIEWS}"""
"""Every plan the watch went by, from which stream time on, so that what happened before a change
keeps its names; and what was said of the source as the watch began."""

_PROBLEM: Final = """
CREATE TABLE problem (
    id INTEGER PRIMARY KEY, text TEXT NOT NULL,
    at_s REAL NOT NULL, frame INTEGER NOT NULL, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL);
"""
"""What the engine or its computer could not do from that moment on."""

_OUTLOOK: Final = """
CREATE TABLE sign (
    kind TEXT NOT NULL, tracks TEXT NOT NULL, since_s REAL NOT NULL, told_s REAL NOT NULL,
    until_s REAL, normal REAL NOT NULL, now REAL NOT NULL,
    PRIMARY KEY (kind, tracks, since_s)) WITHOUT ROWID;
CREATE TABLE pickup (
    until_s REAL NOT NULL, who TEXT NOT NULL, track INTEGER NOT NULL, over_db REAL NOT NULL,
    gain_db REAL NOT NULL, delay_s REAL NOT NULL, seconds INTEGER NOT NULL,
    PRIMARY KEY (who, track, until_s)) WITHOUT ROWID;
CREATE TABLE listened (
    id INTEGER PRIMARY KEY, track INTEGER NOT NULL, from_s REAL NOT NULL, until_s REAL NOT NULL,
    sounds_right INTEGER, word TEXT NOT NULL);
"""
"""Early signs; who was heard on which other track, by ten seconds; which track a person heard."""

_LABELS: Final = """
CREATE TABLE label (
    at_s REAL PRIMARY KEY, frame INTEGER NOT NULL, utc_ms INTEGER NOT NULL, timecode TEXT NOT NULL);
"""
"""From where on labels count anew: code came, jumped or drifted. Between rows they count on."""

MIGRATIONS: Final[tuple[str, ...]] = (
    *(_FIRST, _LINE_CHECK, _DRILL, _STRETCH, _INPUTS, _ENVELOPE),
    _PLANS,
    _PROBLEM,
    _OUTLOOK,
    _LABELS,
)
"""Script n brings a log from version n to n + 1; never change one that was released."""

VERSION: Final = len(MIGRATIONS)

INSERTS: Final = {
    "session": "INSERT OR REPLACE INTO session VALUES (1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    "track": "INSERT OR REPLACE INTO track VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    "inputs": "INSERT OR REPLACE INTO inputs VALUES (?, ?)",
    "plan": "UPDATE session SET title = ?, plan = ?",
    "plan version": "INSERT INTO plan_version VALUES (?, ?, ?, ?, ?)",
    "plan track": "INSERT OR REPLACE INTO plan_track VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    "notice": "INSERT OR IGNORE INTO notice (text) VALUES (?)",
    "run": "INSERT INTO run (utc_ms, at_s, frame, pid) VALUES (?, ?, ?, ?)",
    "run end": "UPDATE run SET end_utc_ms = ?, end_s = ?, end_reason = ?"
    " WHERE id = (SELECT max(id) FROM run)",
    # Not REPLACE, which would delete a row that changes refer to.
    "incident": "INSERT INTO incident VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
    " ON CONFLICT (id) DO UPDATE SET fault = excluded.fault, severity = excluded.severity,"
    " onset_s = excluded.onset_s, amber_s = excluded.amber_s, red_s = excluded.red_s,"
    " end_s = excluded.end_s, covered_by = excluded.covered_by, uncovered = excluded.uncovered,"
    " detail = excluded.detail, part_of = excluded.part_of, tracks = excluded.tracks,"
    " onset_timecode = excluded.onset_timecode, end_timecode = excluded.end_timecode",
    "change": "INSERT INTO change VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    "action": "INSERT INTO action VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    "mark": "INSERT INTO mark VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?)",
    "level": "INSERT OR REPLACE INTO level VALUES (?, ?, ?)",
    "envelope": "INSERT OR REPLACE INTO envelope VALUES (?, ?)",
    "gap": "INSERT INTO gap VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?)",
    "line check": "INSERT INTO line_check VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?)",
    "drill fault": "INSERT OR REPLACE INTO drill_fault VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
    "left": "INSERT OR REPLACE INTO stretch VALUES (?, ?, ?, ?)",
    "stretch": "INSERT OR REPLACE INTO stretch VALUES (?, ?, ?, ?)",
    "label": "INSERT OR REPLACE INTO label VALUES (?, ?, ?, ?)",
    "problem": "INSERT INTO problem VALUES (NULL, ?, ?, ?, ?, ?)",
    "sign": "INSERT INTO sign VALUES (?, ?, ?, ?, ?, ?, ?)"
    " ON CONFLICT DO UPDATE SET until_s = excluded.until_s, now = excluded.now",
    "pickup": "INSERT OR REPLACE INTO pickup VALUES (?, ?, ?, ?, ?, ?, ?)",
    "listened": "INSERT INTO listened VALUES (NULL, ?, ?, ?, ?, ?)",
    "kept": "INSERT OR REPLACE INTO kept VALUES (1, ?)",
}
"""How a line of each kind is written."""


class NotALogError(Exception):
    """The file is torn, foreign or of a later version; one clear line, the file is left alone."""


def open_to_write(path: Path) -> sqlite3.Connection:
    """The log at that path, made or brought to the present version; readable by its owner alone.

    Raises
    ------
    NotALogError
        Where the file is something else.
    sqlite3.Error, OSError
        Where it can't be written.
    """
    if not path.exists():
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))  # SQLite's side files copy the mode
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=2.0)
    try:
        version = _version(connection, path)
        connection.execute("PRAGMA journal_mode = WAL")
        # FULL: each commit is on the disk; with NORMAL a power cut could take minutes.
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        migrate(connection, version, MIGRATIONS)
    except BaseException:
        connection.close()
        raise
    return connection


def migrate(connection: sqlite3.Connection, version: int, scripts: Sequence[str]) -> None:
    """Bring a log of that version up step by step; each step happens whole or not at all."""
    for number, script in enumerate(scripts[version:], start=version + 1):
        head = f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {number};"
        connection.executescript(f"BEGIN IMMEDIATE; {script}; {head} COMMIT;")


def open_to_read(path: Path) -> sqlite3.Connection:
    """The log at that path, never altered; NotALogError where it is torn, foreign or too new."""
    if not path.is_file():
        raise NotALogError(f"{path}: there is no session log")
    # A log closed in good order has no side file, and is read without making one.
    how = "mode=ro" if path.with_name(path.name + "-wal").exists() else "immutable=1"
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?{how}", uri=True, timeout=2.0)
    try:
        if _version(connection, path) == 0:
            raise NotALogError(f"{path}: the session log is empty")
    except BaseException:
        connection.close()
        raise
    return connection


def check_whole(path: Path) -> None:
    """NotALogError where the log's pages or references are damaged."""
    with closing(open_to_read(path)) as connection:
        try:
            damage = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
            orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
        except sqlite3.DatabaseError as error:
            raise NotALogError(f"{path}: damaged ({error}); left alone") from error
        if damage != "ok" or orphans:
            raise NotALogError(f"{path}: damaged ({damage}); left alone")


def _version(connection: sqlite3.Connection, path: Path) -> int:
    """The log's version, 0 for one just made."""
    try:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = int(connection.execute("PRAGMA user_version").fetchone()[0])
        tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError as error:
        raise NotALogError(f"{path}: torn, or no session log ({error}); left alone") from error
    if (tables or version) and application != APPLICATION_ID:
        raise NotALogError(f"{path}: another program's file; left alone")
    if version > VERSION:
        raise NotALogError(f"{path}: from a later trackwarden (version {version}); left alone")
    return version
