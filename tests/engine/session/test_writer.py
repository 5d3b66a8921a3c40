"""The session log's writer: nothing lost, nothing held up, whatever the disk does."""

from __future__ import annotations

import sqlite3
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.model.snapshot import LogState
from engine.session import writer as writer_module
from engine.session.backlog import LogLine, Spool, Stamp
from engine.session.schema import NotALogError, check_whole, open_to_read
from engine.session.writer import HANGS_S, SessionWriter
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
    path.parent.write_text("a file is in the way")
    log = SessionWriter(path)
    log.write([action(1), level(1)], STAMP, now=True)
    until(lambda: log.state().problem != "" and log.state().waiting == 2)
    assert "\n" not in log.state().problem
    path.parent.unlink()
    until(lambda: log.state().problem == "" and log.state().waiting == 0)
    log.close()
    assert rows(path, "SELECT second FROM level") == [(1,)]
    assert rows(path, "SELECT count(*) FROM action") == [(1,)]


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


def test_a_disk_that_does_not_answer_is_said_within_three_seconds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one commit hangs the state says so, and what waits; all of it is written later."""
    path, answer, now = tmp_path / "session.sqlite", threading.Event(), [100.0]
    write_all = writer_module._write_all

    def hang(*arguments: object) -> None:
        answer.wait(20.0)
        write_all(*arguments)

    monkeypatch.setattr(writer_module, "_write_all", hang)
    log = SessionWriter(path, clock=lambda: now[0])
    log.write([level(0)], STAMP, now=True)
    until(lambda: log._begun_at is not None)
    assert log.state().problem == ""
    now[0] += HANGS_S + 0.5
    assert log.state().problem == "the disk has not answered for 2 s"
    for number in range(1, 50):
        log.write([level(number)], STAMP, now=True)
    assert log.state().waiting == 50
    answer.set()
    until(lambda: log.state() == LogState(0.0, "", 0))
    log.close()
    assert rows(path, "SELECT count(*) FROM level") == [(50,)]


@settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    fails=st.lists(st.booleans(), max_size=6),
    error=st.sampled_from([OverflowError, MemoryError, RuntimeError("x"), UnicodeError]),
)
def test_no_error_ends_the_logs_thread_or_loses_a_line(
    tmp_path: Path, fails: list[bool], error: Exception
) -> None:
    """Whatever is raised, in any commits: it is said, and all that was handed over is written."""
    path = tmp_path / f"{time.monotonic_ns()}.sqlite"
    write_all, left = writer_module._write_all, [*fails]

    def fail_at_times(*arguments: object) -> None:
        if left and left.pop(0):
            raise error
        write_all(*arguments)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writer_module, "_write_all", fail_at_times)
        patch.setattr(writer_module, "RETRY_S", 0.01)
        log = SessionWriter(path)
        for number in range(10):
            log.write([action(number), level(number)], STAMP, now=True)
        until(lambda: len(_actions(path)) == 10)
        log.close()
    assert rows(path, "SELECT arguments FROM action") == [(str(n),) for n in range(10)]
    assert rows(path, "SELECT count(*) FROM level") == [(10,)]


def test_a_thread_that_died_is_begun_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even where it was ended from without, the next lines are written with those before."""
    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    path = tmp_path / "session.sqlite"
    with monkeypatch.context() as patch:
        patch.setattr(SessionWriter, "_write", lambda *_: sys.exit())
        log = SessionWriter(path)
        log.write([action(1)], STAMP, now=True)
        until(lambda: not log._thread.is_alive())
    log.write([action(2)], STAMP, now=True)
    log.close()
    assert rows(path, "SELECT arguments FROM action") == [("1",), ("2",)]


def test_what_sqlite_can_not_store_is_stored_as_near_as_can_be(tmp_path: Path) -> None:
    """Half a surrogate pair and a number of 70 bits hold up nothing, and are not left out."""
    path = tmp_path / "session.sqlite"
    log = SessionWriter(path)
    odd = LogLine("action", ("Mark", "a\ud800b", "crew", "window", 2**70, *STAMP.values))
    log.write([odd, action(1)], STAMP)
    log.close()
    assert rows(path, "SELECT arguments, pid FROM action") == [("a?b", 2**63 - 1), ("1", 1)]


def test_what_a_killed_engine_could_not_write_is_written_by_the_next(tmp_path: Path) -> None:
    """While the disk is full the lines lie in the spool as well; another writer takes them up."""
    path, spool = tmp_path / "away" / "session.sqlite", Spool(tmp_path / "unwritten")
    path.parent.write_text("no room")
    log = SessionWriter(path, spool=spool)
    log.write([action(1), level(1), LogLine("kept", ("{}",))], STAMP, now=True)
    until(lambda: len(spool.lines()) == 3)
    log.close()  # as good as killed: nothing could be written
    path.parent.unlink()
    SessionWriter(path, spool=spool).close()
    assert rows(path, "SELECT second FROM level") == [(1,)]
    assert rows(path, "SELECT arguments FROM action") == [("1",)]
    assert rows(path, "SELECT state FROM kept") == [("{}",)]
    assert spool.lines() == []
