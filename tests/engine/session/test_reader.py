"""A log that is damaged, or written by somebody else: one kind of error, whatever it holds."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.messages import Fault
from engine.report.content.from_session import read_session
from engine.session.folders import LOG
from engine.session.reader import SessionReader
from engine.session.rows import MOST_CHANNELS
from engine.session.schema import MIGRATIONS, VERSION, NotALogError, migrate, open_to_write
from engine.session.second_levels import pack_levels
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


INCIDENT_OF_OLD = (
    *("id", "track", "tracks", "fault", "severity", "onset_s", "amber_s", "red_s", "end_s"),
    *("covered_by", "uncovered", "detail", "part_of"),
)


def old_log(folder: Path, version: int) -> None:
    """A session's log as a program of that version left it: a track, a second, an incident."""
    rows = {
        "session": (
            *(1, 1_700_000_000_000, "0.1", "take.wav", 0, 48_000, 2, "", "25", 3600.0),
            *("Raising the bell", dataclass_json.dumps(Open(take="take.wav")), ""),
        ),
        "track": (1, 1, "Ringer", "lav", "Ringer", "", "6", "collar", "A", ""),
        "run": (1, 1_700_000_000_000, 0.0, 0, 4711, 1_700_000_009_000, 9.0, "the take ended"),
        "level": (4, 1_700_000_004_000, pack_levels(*np.full((3, 1), -30.0))),
        "mark": (1, "bell moves", "mixer", "window", 1, 5.0, 240_000, 1_700_000_005_000, ""),
    }
    fault = "1, 1, '[]', 'muted', 'red', 2.0, 2.5, 4.0, 6.0, NULL, 1, '', NULL"
    with closing(sqlite3.connect(folder / LOG)) as log:
        migrate(log, 0, MIGRATIONS[:version])
        for table, values in rows.items():
            log.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(values))})", values)
        columns = ", ".join(INCIDENT_OF_OLD)
        log.execute(f"INSERT INTO incident ({columns}) VALUES ({fault})")
        log.commit()


@pytest.mark.parametrize("version", range(1, VERSION + 1))
def test_a_log_of_each_version_is_read_as_it_is_and_after_it_was_brought_up(
    tmp_path: Path, version: int
) -> None:
    """No version ever written is left behind: names, incidents, marks and levels are all there."""
    old_log(tmp_path, version)
    for _ in range(2):
        with SessionReader(tmp_path) as log:
            session = log.session()
            assert session is not None
            assert session.title == "Raising the bell"
            assert [track.name for track in log.plans().at(1.0).tracks] == ["Ringer"]
            assert [i.fault for i in log.incidents()] == [Fault.MUTED]
            assert [mark.text for mark in log.marks()] == ["bell moves"]
            (second,) = log.levels((1,))
            assert second.levels[0] == pytest.approx([-30.0])
            assert log.watched_s() == 9.0
        open_to_write(tmp_path / LOG).close()
