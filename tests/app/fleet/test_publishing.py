"""One publisher a session, and how it stands."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from app.fleet import publishing
from app.fleet.publishing import BEAT_S, LOOK_S, STATUS, Publishing, Status, status, switch_off

ADDRESS = "mqtt://h/belfry/main"


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A steady clock that the test moves."""
    now = [100.0]
    monkeypatch.setattr(publishing.time, "monotonic", lambda: now[0])
    return now


def test_without_a_publisher_there_is_no_status(tmp_path: Path) -> None:
    """Nor where what it left behind is damaged."""
    assert status(tmp_path) is None
    (tmp_path / STATUS).write_text("{", encoding="utf-8")
    (tmp_path / publishing.WANTED).write_text("[]", encoding="utf-8")
    assert status(tmp_path) is None


def test_it_says_how_it_stands(tmp_path: Path, clock: list[float]) -> None:
    """From connecting to connected, and why not."""
    own = Publishing(tmp_path, ADDRESS)
    assert status(tmp_path) == Status(ADDRESS, "connecting")
    own.tell("")
    assert status(tmp_path) == Status(ADDRESS, "")
    own.tell("the broker does not answer")
    assert status(tmp_path) == Status(ADDRESS, "the broker does not answer")
    own.end()
    assert list(tmp_path.iterdir()) == []


def test_another_one_takes_over(tmp_path: Path, clock: list[float]) -> None:
    """The one before ends, and leaves the files of its successor alone."""
    first = Publishing(tmp_path, ADDRESS)
    second = Publishing(tmp_path, "mqtt://h/belfry/other")
    clock[0] += LOOK_S
    assert (first.wanted(), second.wanted()) == (False, True)
    first.end()
    assert status(tmp_path) == Status("mqtt://h/belfry/other", "connecting")


def test_it_is_switched_off(tmp_path: Path, clock: list[float]) -> None:
    """By whoever may write in the session's folder: its owner."""
    own = Publishing(tmp_path, ADDRESS)
    switch_off(tmp_path)
    switch_off(tmp_path)
    clock[0] += LOOK_S
    assert not own.wanted()
    assert status(tmp_path) is None


def test_a_killed_one_is_noticed(tmp_path: Path, clock: list[float]) -> None:
    """It gives a sign of life now and then; without one it is gone."""
    own = Publishing(tmp_path, ADDRESS)
    own.tell("")
    past = time.time() - 3 * BEAT_S
    os.utime(tmp_path / STATUS, (past, past))
    assert status(tmp_path) is None
    clock[0] += BEAT_S
    own.tell("")
    assert status(tmp_path) == Status(ADDRESS, "")
