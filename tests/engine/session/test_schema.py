"""The session log's file: its version, its migrations, and files that are none."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from engine.session.schema import (
    APPLICATION_ID,
    MIGRATIONS,
    VERSION,
    NotALogError,
    check_whole,
    migrate,
    open_to_read,
    open_to_write,
)


def made(path: Path) -> Path:
    """A log with nothing in it."""
    open_to_write(path).close()
    return path


def test_a_new_log_has_the_present_version(tmp_path: Path) -> None:
    """Version, application, WAL, full sync and foreign keys are in force."""
    with closing(open_to_write(tmp_path / "log")) as log:
        pragmas = ("user_version", "application_id", "journal_mode", "synchronous", "foreign_keys")
        found = [log.execute(f"PRAGMA {name}").fetchone()[0] for name in pragmas]
    assert found == [VERSION, APPLICATION_ID, "wal", 2, 1]  # 2: FULL, sqlite.org/pragma.html


def test_an_older_log_is_brought_up_to_date_and_keeps_its_lines(tmp_path: Path) -> None:
    """Each missing step is taken once, in order, and nothing in the log is lost."""
    with closing(open_to_write(tmp_path / "log")) as log:
        log.execute("INSERT INTO level VALUES (7, 0, x'')")
        later = (*MIGRATIONS, "ALTER TABLE level ADD COLUMN note TEXT NOT NULL DEFAULT 'none'")
        migrate(log, VERSION, later)
        assert log.execute("SELECT second, note FROM level").fetchall() == [(7, "none")]
        assert log.execute("PRAGMA user_version").fetchone()[0] == VERSION + 1
        migrate(log, VERSION + 1, later)


def test_a_step_that_fails_changes_nothing(tmp_path: Path) -> None:
    """A migration that breaks off leaves the log at the version before."""
    with closing(open_to_write(tmp_path / "log")) as log:
        broken = (*MIGRATIONS, "CREATE TABLE fresh (a); SELECT no_such_column FROM fresh")
        with pytest.raises(sqlite3.OperationalError):
            migrate(log, VERSION, broken)
        log.execute("ROLLBACK")
        assert log.execute("PRAGMA user_version").fetchone()[0] == VERSION
        names = {row[0] for row in log.execute("SELECT name FROM sqlite_schema")}
        assert "fresh" not in names


def torn(path: Path) -> None:
    """A log cut off in the middle of its first page."""
    path.write_bytes(made(path).read_bytes()[:700])


def foreign(path: Path) -> None:
    """Another program's SQLite file."""
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
        other.commit()


def text(path: Path) -> None:
    """No SQLite file at all."""
    path.write_text("a shopping list\n" * 100)


def newer(path: Path) -> None:
    """A log of a later version."""
    with closing(sqlite3.connect(made(path))) as log:
        log.execute(f"PRAGMA user_version = {VERSION + 1}")


@pytest.mark.parametrize("kind", [torn, foreign, text, newer])
def test_what_is_no_log_is_named_and_left_alone(tmp_path: Path, kind) -> None:
    """A torn, foreign or later file is refused with one line naming it, and not altered."""
    path = tmp_path / "log"
    kind(path)
    before = path.read_bytes()
    for opening in (open_to_read, open_to_write):
        with pytest.raises((NotALogError, sqlite3.Error)) as refused:
            opening(path)
        assert "\n" not in str(refused.value)
    with pytest.raises(NotALogError, match=str(path)):
        open_to_read(path)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_damage_inside_is_found(tmp_path: Path) -> None:
    """A page overwritten with rubbish is told by `check_whole`."""
    path = made(tmp_path / "log")
    whole = path.read_bytes()
    check_whole(path)
    path.write_bytes(whole[:4096] + b"\xff" * 4096 + whole[8192:])
    with pytest.raises(NotALogError, match="left alone"):
        check_whole(path)


def test_a_log_that_is_not_there_is_said(tmp_path: Path) -> None:
    """Reading a missing log names it and makes no file."""
    with pytest.raises(NotALogError, match="no session log"):
        open_to_read(tmp_path / "log")
    assert list(tmp_path.iterdir()) == []
