"""A line check as part of the session: its results are in the log and outlive the engine."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from engine import plain
from engine.alarms.kept import keep
from engine.commands import Watch
from engine.kept import Kept
from engine.learned import Memory
from engine.line_result import Heard, LineResult, Verdict
from engine.log_feed import LogFeed
from engine.log_schema import open_to_read
from engine.pipeline import Pipeline
from engine.session_log import SessionLog
from tests.engine.feeding import totals
from tests.engine.test_line_check import PLAN, RATE, remembered


def test_a_result_is_a_row_of_the_log(tmp_path: Path) -> None:
    """Track, verdict, note, all that was heard, and when, are on the disk."""
    log = SessionLog(tmp_path / "session.sqlite")
    feed = LogFeed(
        log,
        Watch(PLAN, "interface", "16 kHz", True),
        RATE,
        lambda: 1234,
        lambda _at_s: "18:00:07:00",
        totals,
    )
    heard = Heard(speech_s=4.0, speech_dbfs=-24.5, offset_db=12.0, inverted=False)
    feed.checked([LineResult(3, Verdict.FAILED, 7.0, "18:00:07:00", heard, "cable")])
    log.close()
    assert log.state().problem == ""
    with closing(open_to_read(tmp_path / "session.sqlite")) as rows:
        row = rows.execute("SELECT track, verdict, note, heard, at_s FROM line_check").fetchone()
    assert (row[0], row[1], row[2], row[4]) == (3, "failed", "cable", 7.0)
    assert plain.loads(Heard, row[3]) == heard


def test_what_was_learned_outlives_the_engine() -> None:
    """A restarted watch has the results, the accepted hum and the offsets of the one before."""
    result = LineResult(1, Verdict.PASSED, 2.0, "", Heard(taps=2))
    nan = float("nan")
    offsets = ((nan, 12.0, nan, nan, nan),) * 2
    hum = (-50.0, *(float("-inf"),) * 4)
    before = Pipeline(PLAN, RATE)
    kept = Kept(
        fed_s=10.0,
        audio_lost_s=0.0,
        floor_dbfs=(-60.0,) * 5,
        book=keep(before.book),
        steady_s=0.0,
        boot="",
        utc_ms=0,
        line_results=(result,),
        learned=(
            Memory("Hum", ((hum,),)),
            Memory("PairDrift", (offsets, ((-1.0, 1.0, -1.0, -1.0, -1.0),))),
        ),
    )
    kept = plain.loads(Kept, plain.dumps(kept))
    after = Pipeline(PLAN, RATE, kept=kept)
    assert after.lines.checker.results == (result,)
    assert remembered(after, "Hum")[0][0] == -50.0
    assert remembered(after, "PairDrift")[0][1] == pytest.approx(12.0)
