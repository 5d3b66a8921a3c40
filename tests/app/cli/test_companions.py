"""Page and publisher beside a watch in the terminal: what ends is said, and started again."""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from app.cli import companions
from app.cli.companions import LOOK_S, RESTARTS, WITHIN_S, Companions
from app.fleet import publishing
from app.page.launch import Keep

Begin = Callable[[Keep], None]
Make = Callable[[str, Begin], Companions]
FAILS, ENDS = "raise SystemExit(3)", "pass"


class Starts:
    """Starts a process that runs that line of Python, and counts how often."""

    def __init__(self, line: str) -> None:
        self.line, self.times = line, 0

    def __call__(self, keep: Keep) -> None:
        """One more; it has ended when this returns."""
        self.times += 1
        process = subprocess.Popen([sys.executable, "-c", self.line], stdout=subprocess.PIPE)
        process.wait(30)
        keep(process)


@pytest.fixture
def beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Make:
    """Companions of which one is started by that."""

    def make(name: str, starts: Begin) -> Companions:
        monkeypatch.setattr(companions, "_asked", lambda *_: {name: starts})
        return Companions(argparse.Namespace(), SimpleNamespace(folder=tmp_path))

    return make


def test_a_page_that_dies_is_said_and_started_again(
    beside: Make, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line a death; after so many it is left, with the folder that has the reason."""
    starts = Starts(FAILS)
    page = beside("page", starts)
    for second in range(RESTARTS + 3):
        page.look(second * LOOK_S)
    lines = capsys.readouterr().err.splitlines()
    assert starts.times == 1 + RESTARTS
    assert (
        lines[:-1]
        == ["the page ended: it is started again, with a new code for phones; the watch goes on"]
        * RESTARTS
    )
    assert lines[-1].startswith("the page ended again and is left so")


def test_a_page_that_dies_now_and_then_is_started_again_all_night(beside: Make) -> None:
    """Deaths far apart have no cause in common that another start would not mend."""
    starts = Starts(FAILS)
    page = beside("page", starts)
    for death in range(1, 2 * RESTARTS + 1):
        page.look(death * WITHIN_S)
    page.close()
    assert starts.times == 1 + 2 * RESTARTS


def test_what_was_told_to_end_is_left_in_peace(
    beside: Make, capsys: pytest.CaptureFixture[str]
) -> None:
    """Switched off in the window, or the watch is over: nothing to say."""
    starts = Starts(ENDS)
    beside("page", starts).look(0.0)
    assert starts.times == 1
    assert capsys.readouterr().err == ""


def test_a_broker_that_goes_is_said_once_and_its_return_too(
    beside: Make,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What the publisher says of the broker, where it changes; while it begins nothing is said."""
    words = [None, "connecting", "", "connection refused", "connection refused", "", None]
    said = iter(None if word is None else publishing.Status("mqtt://h/s/c", word) for word in words)
    monkeypatch.setattr(publishing, "status", lambda _folder: next(said))
    runs = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    try:
        publisher = beside("publisher", lambda keep: keep(runs))
        for second in range(len(words)):
            publisher.look(second * LOOK_S)
    finally:
        runs.communicate(b"\n", timeout=30)
    assert capsys.readouterr().err.splitlines() == [
        "not at the broker: connection refused",
        "published again",
        "not at the broker: the publisher does not answer",
    ]
