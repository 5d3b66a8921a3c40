"""The session log's writer: nothing lost, nothing held up, whatever the disk does."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from engine.session.schema import NotALogError, check_whole, open_to_read
from engine.session.writer import Backlog, LogLine, SessionWriter, Stamp
from tests.benchmarks.robustness.log_kills import kill_often
from tests.support.small_disk import small_disk

STAMP = Stamp(1.0, 48_000, 1_000, "10:00:01:00")


def level(number: int) -> LogLine:
    """Level history of that second."""
    return LogLine("level", (number, 0, b""))


def action(number: int) -> LogLine:
    """Somebody pressed something."""
    return LogLine("action", ("Acknowledge", str(number), "crew", "window", 1, *STAMP.values))


def change(incident: int) -> LogLine:
    """An incident that the log may or may not know changed."""
    told = (incident, "raised", "unacknowledged", "red", "muted")
    return LogLine("change", (*told, *STAMP.values, None))


def rows(path: Path, query: str) -> list[tuple]:
    """What the log says."""
    with closing(open_to_read(path)) as log:
        return log.execute(query).fetchall()


def until(holds: Callable[[], bool], seconds: float = 10.0) -> None:
    """Wait for another thread, no longer than needed."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


def test_what_was_handed_over_is_there_after_close(tmp_path: Path) -> None:
    """Every line is in the log once it is closed, readable by its owner alone."""
    path = tmp_path / "session.sqlite"
    log = SessionWriter(path)
    log.write([level(0), action(0)], STAMP)
    log.write([level(1)], STAMP)
    log.close()
    assert rows(path, "SELECT second FROM level") == [(0,), (1,)]
    assert rows(path, "SELECT arguments, who FROM action") == [("0", "crew")]
    assert path.stat().st_mode & 0o077 == 0
    check_whole(path)


def test_urgent_lines_do_not_wait(tmp_path: Path) -> None:
    """A line handed over with `now` is on the disk long before the next round."""
    path = tmp_path / "session.sqlite"
    log = SessionWriter(path)
    log.write([action(1)], STAMP, now=True)
    until(lambda: path.exists() and path.stat().st_size > 0 and bool(_actions(path)))
    log.close()


def _actions(path: Path) -> list[tuple]:
    try:
        return rows(path, "SELECT id FROM action")
    except (sqlite3.Error, NotALogError):  # not made yet
        return []


def test_killed_at_random_moments_it_loses_at_most_a_second(tmp_path: Path) -> None:
    """SIGKILL at any moment damages nothing and costs no line older than a second."""
    kills = kill_often(tmp_path / "session.sqlite", kills=5, seed=7)
    assert sum(kill.handed for kill in kills) > 0
    check_whole(tmp_path / "session.sqlite")


def test_a_folder_that_is_not_there_yet_is_said_and_made_up_for(tmp_path: Path) -> None:
    """While nothing can be written the log says why and keeps the lines; then it writes them."""
    path = tmp_path / "away" / "session.sqlite"
    log = SessionWriter(path)
    log.write([action(1), level(1)], STAMP, now=True)
    until(lambda: log.state().problem != "" and log.state().waiting == 2)
    assert "\n" not in log.state().problem
    path.parent.mkdir()
    until(lambda: log.state().problem == "" and log.state().waiting == 0)
    log.close()
    assert rows(path, "SELECT second FROM level") == [(1,)]
    assert rows(path, "SELECT count(*) FROM action") == [(1,)]


def test_the_backlog_is_bounded_and_owns_up_to_what_it_pushed_out() -> None:
    """Beyond the bound the oldest lines go, and one gap says how many since when."""
    backlog = Backlog(lines=3, levels=2)
    later = Stamp(9.0, 1, 2, "x")
    backlog.add([level(n) for n in range(4)], STAMP)
    backlog.add([action(n) for n in range(5)], later)
    lines = backlog.lines()
    assert [line.values[0] for line in lines if line.kind == "level"] == [2, 3]
    assert [line.values[1] for line in lines if line.kind == "action"] == ["2", "3", "4"]
    (gap,) = [line for line in lines if line.kind == "gap"]
    assert gap.values[:2] == ("log", STAMP.at_s)
    assert gap.values[6] == 4
    backlog.written()
    assert backlog.lines() == []


def test_only_the_newest_state_for_a_restart_is_kept() -> None:
    """Of what a restart needs the newest says all; it takes no room in the backlog."""
    backlog = Backlog(lines=1, levels=1)
    backlog.add([LogLine("kept", (str(n),)) for n in range(9)], STAMP)
    assert backlog.lines() == [LogLine("kept", ("8",))]


def test_a_line_that_the_tables_refuse_does_not_hold_up_the_others(tmp_path: Path) -> None:
    """A change of an unknown incident is left out and owned up to; all else is written."""
    path = tmp_path / "session.sqlite"
    log = SessionWriter(path)
    log.write([change(99), action(1)], STAMP)
    log.close()
    assert rows(path, "SELECT count(*) FROM action") == [(1,)]
    assert rows(path, "SELECT count(*) FROM change") == [(0,)]
    assert rows(path, "SELECT what, lines FROM gap") == [("log", 1)]


def test_handing_over_never_waits_for_the_disk(tmp_path: Path) -> None:
    """While another program holds the log for a second, `write` returns at once."""
    path = tmp_path / "session.sqlite"
    log = SessionWriter(path)
    until(path.exists)
    log.write([level(0)], STAMP, now=True)
    until(lambda: log.state().waiting == 0 and path.stat().st_size > 0)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        begun = time.monotonic()
        for number in range(100):
            log.write([action(number)], STAMP, now=True)
        assert time.monotonic() - begun < 0.2
        other.execute("ROLLBACK")
    log.close()
    assert rows(path, "SELECT count(*) FROM action") == [(100,)]


def test_a_full_disk_is_made_up_for(tmp_path: Path) -> None:
    """While the disk is full the lines wait in memory; they are written when there is room."""
    with small_disk(tmp_path / "disk") as disk:
        path = disk.path / "session.sqlite"
        log = SessionWriter(path)
        log.write([level(0)], STAMP, now=True)
        until(lambda: log.state().waiting == 0 and path.exists())
        disk.fill()
        for number in range(1, 200):
            log.write([LogLine("level", (number, 0, bytes(500)))], STAMP, now=number == 199)
        until(lambda: log.state().problem != "")
        assert log.state().waiting > 0
        disk.make_room()
        until(lambda: log.state().problem == "" and log.state().waiting == 0)
        log.close()
        assert rows(path, "SELECT count(*) FROM level") == [(200,)]
        check_whole(path)


def test_a_read_only_disk_is_made_up_for(tmp_path: Path) -> None:
    """A disk that can't be written at the start is said; the lines are written once it can."""
    with small_disk(tmp_path / "disk") as disk:
        disk.set_writable(False)
        log = SessionWriter(disk.path / "session.sqlite")
        log.write([level(0)], STAMP, now=True)
        until(lambda: log.state().problem != "" and log.state().waiting == 1)
        disk.set_writable(True)
        until(lambda: log.state().problem == "" and log.state().waiting == 0)
        log.close()
        assert rows(disk.path / "session.sqlite", "SELECT count(*) FROM level") == [(1,)]
