"""Which watch is gone on with after a crash: by its log, and by what that could not take."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.round_state import Heard
from engine.session import engines, folders
from engine.session.backlog import LogLine, Stamp
from engine.session.checkpoint import BookCheckpoint, Checkpoint
from engine.session.engines import Running
from engine.session.outlook_lines import listened_lines
from engine.session.resume import GO_ON_S, broken_off, resume, spool_of, write_left_over
from engine.session.writer import SessionWriter
from engine.sources.base import SourceError

REQUEST = Open(device="tower")
BEGAN_S = 1_700_000_000.0
STAMP = Stamp(0.0, 0, round(1000 * BEGAN_S), "10:00:00:00")
CHECKPOINT = Checkpoint(
    10.0, 0.0, (-60.0,), BookCheckpoint(False, (), 0, ()), 5.0, "boot", 0, server_source="take"
)


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions of another user than the one who tests."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))


def session_line(request: Open = REQUEST, *, live: bool = True) -> LogLine:
    """What a session begins with."""
    text = dataclass_json.dumps(request)
    known = ("1", "tower interface", live, 48_000, 1, "ALSA", "25", 3600.0, "", text, "")
    return LogLine("session", (STAMP.utc_ms, *known))


def logged(hours: float = 0.0, *, ended: bool = False, request: Open = REQUEST) -> Path:
    """A session that was watched for so many hours."""
    folder = folders.new_session(BEGAN_S)
    log = SessionWriter(folder / folders.LOG)
    kept = LogLine("kept", (dataclass_json.dumps(CHECKPOINT),))
    run = LogLine("run", (STAMP.utc_ms, 0.0, 0, 7))
    level = LogLine("level", (round(hours * 3600), round(STAMP.utc_ms + hours * 3.6e6), b""))
    log.write([session_line(request), run, level, kept], STAMP)
    if ended:
        log.write([LogLine("run end", (STAMP.utc_ms, 1.0, "stopped by window"))], STAMP)
    log.close()
    return folder


def test_a_watch_is_gone_on_with_by_the_age_of_its_last_line() -> None:
    """Begun twenty hours ago and watched until the crash: gone on with, whatever its beginning."""
    folder = logged(hours=20.0)
    assert broken_off(REQUEST, BEGAN_S + 20.0 * 3600 + 60.0) == folder
    assert broken_off(REQUEST, BEGAN_S + 20.0 * 3600 + GO_ON_S + 60.0) is None


def test_only_the_very_same_watch_that_nobody_ended_is_gone_on_with() -> None:
    """Not one that was stopped, of another request, or that an engine runs."""
    logged(ended=True)
    assert broken_off(REQUEST, BEGAN_S) is None
    assert broken_off(replace(REQUEST, plan="other.toml"), BEGAN_S) is None
    folder = logged(request=Open(device="belfry"))
    assert broken_off(Open(device="belfry"), BEGAN_S) == folder
    lock = engines.Lock(folder)
    assert broken_off(Open(device="belfry"), BEGAN_S) is None
    lock.release()


def test_an_engine_that_was_killed_is_gone_on_with_before_its_log_says_anything() -> None:
    """Its own word is enough: the log may be on a disk that is full."""
    folder = folders.new_session(BEGAN_S)
    engines.say_running(folder, Running("/run/engine", "00", 7, REQUEST, "tower interface", True))
    assert broken_off(REQUEST) == folder
    assert broken_off(REQUEST, engines.began_s(folder) + GO_ON_S + 1.0) is None
    engines.forget_running(folder)
    assert broken_off(REQUEST) is None


def test_a_damaged_log_hides_no_other_session() -> None:
    """One session that can't be read is passed over."""
    whole = logged()
    torn = folders.new_session(BEGAN_S + 100.0)
    (torn / folders.LOG).write_bytes((whole / folders.LOG).read_bytes()[:5000])
    assert broken_off(REQUEST, BEGAN_S) == whole


def test_a_restart_finds_the_watch_as_it_was() -> None:
    """Request, source, time of day and state come from the log; the plan from its newest copy."""
    folder = logged()
    resumed = resume(folder)
    assert (resumed.request, resumed.start_s, resumed.checkpoint) == (REQUEST, 3600.0, CHECKPOINT)
    assert (resumed.info.name, resumed.info.channels, resumed.info.live) == (
        "tower interface",
        1,
        True,
    )
    assert resumed.info.fields == {"host API": "ALSA", "server source": "take"}
    folders.keep_plan(folder, "[[track]]\ninput = 1\n")
    assert resume(folder).request.plan == str(folder / folders.PLAN)


def test_a_plan_kept_on_a_full_disk_is_the_one_that_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the session's folder takes no file, the plan lies beside the running engine."""
    folder = logged()
    folders.keep_plan(folder, "old")
    write = folders.write_private

    def full(path: Path, text: str) -> None:
        if path.parent == folder:
            raise OSError("no space left on device")
        write(path, text)

    monkeypatch.setattr(folders, "write_private", full)
    folders.keep_plan(folder, "new")
    assert Path(resume(folder).request.plan or "").read_text() == "new"
    monkeypatch.undo()
    monkeypatch.setenv("XDG_DATA_HOME", str(folder.parents[2]))
    folders.keep_plan(folder, "newest")
    assert Path(resume(folder).request.plan or "").read_text() == "newest"


def test_a_watch_whose_log_was_never_written_is_gone_on_with() -> None:
    """All of it waits beside the log: an engine killed on a full disk is followed."""
    folder = folders.new_session(BEGAN_S)
    engines.ensured(engines.runtime_of(folder))
    kept = [replace(CHECKPOINT, fed_s=at_s) for at_s in (1.0, 2.0)]
    spool = spool_of(folder)
    spool.append([session_line()])
    for one in kept:
        spool.append([LogLine("kept", (dataclass_json.dumps(one),))])
    assert resume(folder).checkpoint == kept[-1]
    assert resume(folder).request == REQUEST


def test_a_session_that_had_not_begun_is_one_line() -> None:
    """Neither log nor spool: refused in one line."""
    with pytest.raises(SourceError) as caught:
        resume(folders.new_session())
    assert "\n" not in str(caught.value)


def test_sessions_that_ended_on_a_full_disk_are_written_by_a_later_engine() -> None:
    """What their logs lack is written once there is room, beside another watch."""
    folder, own = folders.new_session(BEGAN_S), folders.new_session(BEGAN_S + 1.0)
    engines.ensured(engines.runtime_of(folder))
    spool_of(folder).append([session_line(), LogLine("kept", (dataclass_json.dumps(CHECKPOINT),))])
    write_left_over(own)
    assert resume(folder).checkpoint == CHECKPOINT
    assert not engines.runtime_of(folder).exists()


def test_a_restart_knows_what_was_listened_to() -> None:
    """Rounds of before the crash are read from the log, in order."""
    folder = logged()
    log = SessionWriter(folder / folders.LOG)
    heard = [Heard(2, 1.0, 9.0, right=True), Heard(1, 9.0, 12.0, right=False, word="rustle")]
    log.write(list(listened_lines(heard)), STAMP)
    log.close()
    assert resume(folder).listened == tuple(heard)
