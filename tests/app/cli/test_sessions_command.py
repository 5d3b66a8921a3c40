"""`trackwarden sessions`: what was watched, and files that are no sessions."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from app.cli.main import main
from app.cli.sessions_command import listing
from engine.model.commands import Open
from engine.session import engines, folders
from engine.session.recorder import SessionRecorder
from engine.session.writer import SessionWriter
from tests.support.feeding import INFO, REQUEST, WATCH, kept, label, red_incident, tick, totals


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user with no sessions yet."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    return folders.sessions_folder()


def session(
    utc_ms: int,
    seconds: int = 3,
    red: bool = False,
    ended: bool = True,
    request: Open = REQUEST,
) -> Path:
    """A session of that length."""
    folder = folders.new_session(utc_ms / 1000)
    log = SessionWriter(folder / folders.LOG)
    feed = SessionRecorder(log, WATCH, 48_000, lambda: utc_ms, label, totals)
    feed.begin(request, INFO, "", "")
    feed.start(0.0, 1, 0.0)
    incidents = [red_incident()] if red else []
    for number in range(10 * seconds + 1):
        feed.tick(tick(number), number / 10 + 0.1, lambda: (incidents, kept()))
    if ended:
        feed.end(float(seconds), "stopped by window", kept())
    log.close()
    return folder


def test_sessions_are_listed_newest_first_with_length_and_reds(home: Path) -> None:
    """Start, length, state, tracks, reds, source and name are on each session's line."""
    old, new = session(1_700_000_000_000, red=True), session(1_700_000_100_000, ended=False)
    lines, odd = listing()
    assert odd == []
    assert [line.rsplit(", ", 1)[1] for line in lines] == [new.name, old.name]
    assert "broken off" in lines[0]
    assert "ended" in lines[1]
    assert "00:00:03" in lines[1]
    assert lines[1].split("ended")[1].split()[:2] == ["2", "1"]
    assert "tower interface" in lines[1]


def test_a_session_with_an_engine_is_running(home: Path) -> None:
    """While a process holds the session's lock it is running."""
    folder = session(1_700_000_000_000, ended=False)
    lock = engines.Lock(folder)
    assert "running" in listing()[0][0]
    lock.release()
    assert "broken off" in listing()[0][0]


def test_a_drill_says_so(home: Path) -> None:
    """Nobody takes the faults of a drill for those of a night."""
    session(1_700_000_000_000)
    drill = replace(REQUEST, device=None, demo=True, seed=7, level="hard")
    session(1_700_000_100_000, request=drill)
    (first, second), _ = listing()
    assert "DRILL hard, seed 7: tower interface" in first
    assert "DRILL" not in second


def test_torn_and_foreign_files_are_named_and_left_alone(home: Path) -> None:
    """Each has one line that names it, and is byte for byte as it was."""
    whole = session(1_700_000_000_000)
    torn, foreign, text = (home / name for name in ("torn", "foreign", "text"))
    for folder in (torn, foreign, text):
        folder.mkdir()
    (torn / folders.LOG).write_bytes((whole / folders.LOG).read_bytes()[:3000])
    with closing(sqlite3.connect(foreign / folders.LOG)) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
        other.commit()
    (text / folders.LOG).write_text("a shopping list")
    (home / "a file").write_text("")
    before = {path: path.read_bytes() for path in home.rglob("*") if path.is_file()}
    lines, odd = listing()
    assert len(lines) == 1
    assert len(odd) == 4
    assert all("left alone" in words and "\n" not in words for words in odd)
    for name in ("torn", "foreign", "text", "a file"):
        assert any(name in words for words in odd)
    assert {path: path.read_bytes() for path in home.rglob("*") if path.is_file()} == before


def test_the_command_prints_sessions_apart_from_what_is_none(home: Path, capsys) -> None:
    """Sessions go to standard output, the rest to standard error; the exit status is 0."""
    assert main(["sessions"]) == 0
    assert capsys.readouterr().out == "nothing was watched yet\n"
    session(1_700_000_000_000)
    (home / "stray").mkdir()
    assert main(["sessions"]) == 0
    told = capsys.readouterr()
    assert len(told.out.splitlines()) == 2
    assert "stray" in told.err
