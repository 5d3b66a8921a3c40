"""The readable views, queried with plain SQL as a reader of the log would."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.model.messages import Fault, Incident, Severity
from engine.model.tracks import Plan, Track
from engine.session.folders import LOG
from engine.session.second_levels import pack_levels
from tests.support.sample_session import UTC_MS, SessionWriter

PLAN = Plan((Track(1, "Boom", pack="007"), Track(2, "Lav")))


def query(folder: Path, sql: str) -> list[dict[str, Any]]:
    """Rows by column, by Python's own sqlite3 and nothing of ours."""
    with closing(sqlite3.connect(folder / LOG)) as log:
        log.row_factory = sqlite3.Row
        return [dict(row) for row in log.execute(sql)]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A session with an incident, two seconds of levels and a mark; one name changes at 30 s."""
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, 60.0)
    writer.inputs(0, [1, 2])
    times = (10.02, 10.52, 12.02, 20.0)
    writer.incident(Incident(1, 1, Fault.MUTED, Severity.RED, *times), [("cleared", 21.0, None)])
    writer.plan(30.0, Plan((Track(1, "Boom two"), Track(2, "Lav"))))
    writer._put("level", 5, UTC_MS + 5_000, pack_levels(*np.array([[-30.5, -200.0]] * 3)))
    levels = np.array([[-23.0, np.nan], [-12.34, -0.01], [-45.6, -80.0]])
    writer._put("level", 40, UTC_MS + 40_000, pack_levels(*levels))
    writer.mark("slate", 15.0)
    writer.close()
    return tmp_path


def test_incidents_are_readable(folder: Path) -> None:
    """Who, which pack, when by UTC and timecode; 1,770,000,000 s is 2026-02-02T02:40:00Z."""
    (row,) = query(folder, "SELECT * FROM incident_readable")
    assert (row["fault"], row["severity"], row["name"], row["pack"]) == (
        *("muted", "red", "Boom", "007"),
    )
    assert row["onset_utc"] == "2026-02-02T02:40:10.020Z"
    assert (row["onset_timecode"], row["end_timecode"]) == ("21:00:10:00", "21:00:20:00")
    assert row["end_utc"] == "2026-02-02T02:40:20.000Z"
    assert row["length_s"] == pytest.approx(9.98)


def test_levels_are_readable(folder: Path) -> None:
    """A row a track and second, with the name of then; unknown levels are NULL."""
    rows = query(folder, "SELECT * FROM level_readable ORDER BY second, track")
    assert [(r["second"], r["track"], r["name"]) for r in rows] == [
        *((5, 1, "Boom"), (5, 2, "Lav"), (40, 1, "Boom two"), (40, 2, "Lav")),
    ]
    assert rows[0]["sample_peak_dbfs"] == -30.5
    assert rows[1]["rms_dbfs"] == -200.0
    assert [rows[2][k] for k in ("momentary_max_lufs", "sample_peak_dbfs", "rms_dbfs")] == [
        *(-23.0, -12.34, -45.6),
    ]
    assert [rows[3][k] for k in ("momentary_max_lufs", "sample_peak_dbfs")] == [None, -0.01]
    assert rows[0]["utc"] == "2026-02-02T02:40:05.000Z"


def test_marks_are_readable(folder: Path) -> None:
    """Text, who, UTC and timecode."""
    (row,) = query(folder, "SELECT utc, timecode, text, who FROM mark_readable")
    assert row == {
        "utc": "2026-02-02T02:40:15.000Z",
        "timecode": "21:00:15:00",
        "text": "slate",
        "who": "assistant",
    }
