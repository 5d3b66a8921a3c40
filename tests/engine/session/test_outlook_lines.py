"""Signs, pickups and what was listened to, written and read back by plain SQL."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from engine.model.early_signs import EarlySign, SignEvent, SignKind
from engine.model.pickups import Pickup
from engine.model.round_state import Heard
from engine.session import schema
from engine.session.outlook_lines import listened_lines, pickup_lines, sign_lines

SIGN = EarlySign(1, SignKind.GAPS, (3, 4), 60.0, 0.0, 2.5)


def logged(tmp_path: Path, lines: list) -> sqlite3.Connection:
    """A new log with these lines."""
    connection = schema.open_to_write(tmp_path / "session.sqlite")
    for line in lines:
        connection.execute(schema.INSERTS[line.kind], line.values)
    return connection


def test_a_sign_is_one_row_from_begin_to_end(tmp_path: Path) -> None:
    """Its end is written into the row of its beginning."""
    events = [SignEvent(SIGN, 120.0, began=True), SignEvent(SIGN, 300.0, began=False)]
    log = logged(tmp_path, list(sign_lines(events)))
    rows = log.execute("SELECT kind, tracks, since_s, told_s, until_s, now FROM sign").fetchall()
    assert rows == [("gaps", "[3, 4]", 60.0, 120.0, 300.0, 2.5)]


def test_pickups_and_listening_are_rows(tmp_path: Path) -> None:
    """What nobody said anything of has NULL."""
    pickup = Pickup("rigger", 7, 14.0, -6.0, 0.003, 8, 30.0)
    heard = [Heard(1, 10.0, 18.0), Heard(2, 20.0, 28.0, right=False, word="rustle")]
    log = logged(tmp_path, [*pickup_lines([pickup]), *listened_lines(heard)])
    assert log.execute("SELECT * FROM pickup").fetchall() == [
        (30.0, "rigger", 7, 14.0, -6.0, 0.003, 8)
    ]
    assert log.execute("SELECT track, sounds_right, word FROM listened").fetchall() == [
        (1, None, ""),
        (2, 0, "rustle"),
    ]
