"""A log that is damaged, or written by somebody else: one kind of error, whatever it holds."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.report.content.from_session import read_session
from engine.session.folders import LOG
from engine.session.reader import SessionReader
from engine.session.rows import MOST_CHANNELS
from engine.session.schema import NotALogError
from engine.session.summary import summary
from tests.support.sample_session import SessionWriter, crew_plan, many_incidents

PLAN = crew_plan()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of five minutes with faults."""
    folder = tmp_path_factory.mktemp("session") / "whole"
    with closing(SessionWriter(folder, PLAN)) as log:
        for incident in many_incidents(PLAN, 8, 300.0):
            log.incident(incident)
    return folder


def copy_of(whole: Path, tmp_path: Path, change: Callable[[bytes], bytes] = bytes) -> Path:
    """The session with its log changed."""
    folder = tmp_path / "copy"
    folder.mkdir(exist_ok=True)
    (folder / LOG).write_bytes(change((whole / LOG).read_bytes()))
    return folder


def assert_read_or_one_line(folder: Path) -> None:
    """By the list of sessions and by the report."""
    for read in (summary, read_session):
        line = ""
        try:
            read(folder)
        except NotALogError as error:
            line = str(error)
        assert len(line.splitlines()) <= 1
        assert "\x1b" not in line


def test_the_sample_is_read(whole: Path) -> None:
    """Else the next tests would prove little."""
    assert len(read_session(whole).section.entries) == 8


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    damage=st.lists(
        st.tuples(st.floats(0, 1, exclude_max=True), st.binary(min_size=1, max_size=40))
    ),
    keep=st.floats(0.01, 1.0),
)
def test_a_damaged_log_is_read_or_is_one_line(
    whole: Path, tmp_path: Path, damage: list[tuple[float, bytes]], keep: float
) -> None:
    """Bytes changed anywhere, or its end cut off: no error but the one that says so."""

    def spoil(data: bytes) -> bytes:
        spoiled = bytearray(data)
        for at, new in damage:
            place = int(at * len(spoiled))
            spoiled[place : place + len(new)] = new
        return bytes(spoiled[: int(keep * len(spoiled))])

    folder = copy_of(whole, tmp_path, spoil)
    assert_read_or_one_line(folder)


VALUES = (2**62, -1, 0, 1e300, float("nan"), "x", b"\xff\xfe", "\ud800", "\x1b[31m", None, "[[[[")


@pytest.mark.parametrize("value", VALUES)
@pytest.mark.parametrize(
    "column",
    [
        "session.channels",
        "session.sample_rate_hz",
        "session.start_s",
        "session.request",
        "session.frame_rate",
        "track.input",
        "track.kind",
        "incident.onset_s",
        "incident.tracks",
        "incident.severity",
        "level.second",
        "level.levels",
        "run.end_s",
    ],
)
def test_any_value_in_any_column_is_read_or_is_one_line(
    whole: Path, tmp_path: Path, column: str, value: object
) -> None:
    """Wrong types, numbers beyond all reason, texts that steer a terminal."""
    folder = copy_of(whole, tmp_path)
    table, name = column.split(".")
    with closing(sqlite3.connect(folder / LOG)) as log:
        log.execute("PRAGMA ignore_check_constraints = ON")
        text = value.encode("utf-8", "surrogatepass") if value == "\ud800" else value
        try:
            log.execute(f"UPDATE OR REPLACE {table} SET {name} = ?", (text,))
            log.commit()
        except sqlite3.Error:
            return  # the table itself refuses it
    assert_read_or_one_line(folder)


def test_more_channels_than_there_can_be_are_no_log(whole: Path, tmp_path: Path) -> None:
    """Nothing is set aside for 2**62 of them."""
    folder = copy_of(whole, tmp_path)
    with closing(sqlite3.connect(folder / LOG)) as log:
        log.execute("UPDATE session SET channels = ?", (MOST_CHANNELS + 1,))
        log.commit()
    with pytest.raises(NotALogError, match="channels"), SessionReader(folder) as log:
        log.session()
