"""Record-run code tells when the recorder rolls."""

from __future__ import annotations

from dataclasses import replace

from engine.model.timecode_frames import CodeReading
from engine.timecode.rolling import RecordRun
from tests.engine.timecode.test_frame_follower import follow, run

RUNNING: CodeReading = follow("25", run("25", "10:00:00:00", 50))[10]
STOPPED = replace(RUNNING, moving=False)
NEVER = follow("25", run("25", "10:00:00:00", 1, at_s=9.0))[0]


def test_nothing_is_told_before_any_code() -> None:
    """A line that never carried code stops nothing: it may be a cable."""
    watch = RecordRun()
    assert [watch.update({0: NEVER}) for _ in range(3)] == [None] * 3
    assert watch.update({}) is None


def test_each_start_and_stop_is_told_once() -> None:
    """Only what changes is told, and one running track is enough."""
    watch = RecordRun()
    told = [watch.update({0: NEVER, 1: r}) for r in (RUNNING, RUNNING, STOPPED, STOPPED, RUNNING)]
    assert told == [True, None, False, None, True]
    assert watch.update({0: RUNNING, 1: STOPPED}) is None
