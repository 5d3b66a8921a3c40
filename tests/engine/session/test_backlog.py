"""What waits for the disk: bounded, oldest levels first, incidents never; safe from a crash."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.session.backlog import Backlog, LogLine, Spool, Stamp

STAMP = Stamp(1.0, 48_000, 1_000, "10:00:01:00")
LATER = Stamp(9.0, 1, 2, "x")


def level(number: int) -> LogLine:
    """Level history of that second."""
    return LogLine("level", (number, 0, b""))


def action(number: int) -> LogLine:
    """Somebody pressed something."""
    return LogLine("action", ("Acknowledge", str(number), "crew", "window", 1, *STAMP.values))


def incident(number: int, severity: str = "amber") -> LogLine:
    """How that incident stands."""
    return LogLine("incident", (number, 1, "[1]", "muted", severity))


def test_the_backlog_is_bounded_and_owns_up_to_what_it_pushed_out() -> None:
    """Beyond the bound the oldest lines go, and one gap says how many of what since when."""
    backlog = Backlog(lines=3, levels=2)
    backlog.add([level(n) for n in range(4)], STAMP)
    backlog.add([action(n) for n in range(5)], LATER)
    lines = backlog.lines()
    assert [line.values[0] for line in lines if line.kind == "level"] == [2, 3]
    assert [line.values[1] for line in lines if line.kind == "action"] == ["2", "3", "4"]
    (gap,) = [line for line in lines if line.kind == "gap"]
    assert gap.values[:2] == ("log", STAMP.at_s)
    assert gap.values[6] == 4
    assert gap.values[7] == "could not be written in time: 2 × level, 2 × action"
    backlog.written()
    assert backlog.lines() == []


def test_incidents_are_never_pushed_out() -> None:
    """However long the disk is full: the newest of each is there, before the changes of it."""
    backlog = Backlog(lines=5, levels=5)
    for number in range(1000):
        backlog.add([incident(number), action(number), level(number)], STAMP)
        backlog.add([incident(number, "red")], STAMP)
    lines = backlog.lines()
    assert [line for line in lines if line.kind == "incident"] == [
        incident(number, "red") for number in range(1000)
    ]
    assert [line.kind for line in lines[1000:]] == ["action"] * 5 + ["level"] * 5 + ["gap"]


def test_only_the_newest_state_for_a_restart_is_kept() -> None:
    """Of what a restart needs the newest says all; it takes no room in the backlog."""
    backlog = Backlog(lines=1, levels=1)
    backlog.add([LogLine("kept", (str(n),)) for n in range(9)], STAMP)
    assert backlog.lines() == [LogLine("kept", ("8",))]


lines = st.lists(
    st.one_of(
        st.integers(0, 50).map(level),
        st.integers(0, 50).map(action),
        st.integers(0, 50).map(incident),
        st.builds(lambda text: LogLine("kept", (text,)), st.text(max_size=9)),
    ),
    max_size=30,
)


@given(first=lines, second=lines)
def test_handing_over_loses_nothing(first: list[LogLine], second: list[LogLine]) -> None:
    """What is handed to another backlog stands there as if it had come there at once."""
    there, here, whole = Backlog(), Backlog(), Backlog()
    for part in (first, second):
        here.add(part, STAMP)
        here.move_to(there, STAMP)
        whole.add(part, STAMP)
    assert there.lines() == whole.lines()
    assert len(here) == 0


@given(parts=st.lists(lines, max_size=4), cut=st.integers(0, 40))
def test_a_spool_gives_back_what_was_kept_up_to_where_a_crash_cut_it(
    tmp_path_factory: pytest.TempPathFactory, parts: list[list[LogLine]], cut: int
) -> None:
    """All lines in order; with its end cut off, only what lay there is missing."""
    file = tmp_path_factory.mktemp("spool") / "unwritten"
    spool = Spool(file)
    for part in parts:
        spool.append(part)
    others = [line for part in parts for line in part if line.kind != "kept"]
    newest = [line for part in parts for line in part if line.kind == "kept"][-1:]
    assert spool.lines() == others + newest
    if cut and file.exists():
        file.write_bytes(file.read_bytes()[:-cut])
        whole = [line for line in spool.lines() if line.kind != "kept"]
        assert whole == others[: len(whole)]
    spool.clear()
    assert spool.lines() == []


def test_a_spool_on_a_full_disk_is_done_without(tmp_path: Path) -> None:
    """Where it can't be written nothing is raised."""
    spool = Spool(tmp_path / "nowhere" / "unwritten")
    spool.append([level(1), LogLine("kept", ("{}",))])
    assert spool.lines() == []
