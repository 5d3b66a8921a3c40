"""A line check as part of the session: its results are in the log and outlive the engine.

How a line check goes: common practice, no source.
"""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from engine.alarms.book_checkpoint import save
from engine.detectors.learned import Memory
from engine.model import dataclass_json
from engine.model.commands import Watch
from engine.model.line_results import Heard, LineResult, Verdict
from engine.pipeline.pipeline import Pipeline
from engine.session.checkpoint import Checkpoint
from engine.session.recorder import SessionRecorder
from engine.session.schema import open_to_read
from engine.session.writer import SessionWriter
from tests.engine.line_check.test_checker import PLAN, RATE, remembered
from tests.support.feeding import totals


def test_a_result_is_a_row_of_the_log(tmp_path: Path) -> None:
    """Track, verdict, note, all that was heard, and when, are on the disk."""
    log = SessionWriter(tmp_path / "session.sqlite")
    feed = SessionRecorder(
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
    assert dataclass_json.loads(Heard, row[3]) == heard


def test_what_was_learned_outlives_the_engine() -> None:
    """A restarted watch has the results, the accepted hum and the offsets of the one before."""
    result = LineResult(1, Verdict.PASSED, 2.0, "", Heard(taps=2))
    nan = float("nan")
    offsets = ((nan, 12.0, nan, nan, nan),) * 3  # voice, treble, sibilants
    hum = (-50.0, *(float("-inf"),) * 4)
    before = Pipeline(PLAN, RATE)
    kept = Checkpoint(
        fed_s=10.0,
        audio_lost_s=0.0,
        floor_dbfs=(-60.0,) * 5,
        book=save(before.book),
        steady_s=0.0,
        boot="",
        utc_ms=0,
        line_results=(result,),
        learned=(
            Memory("Hum", ((hum,),)),
            Memory("PairDrift", (offsets, ((-1.0, 1.0, -1.0, -1.0, -1.0),))),
        ),
    )
    kept = dataclass_json.loads(Checkpoint, dataclass_json.dumps(kept))
    after = Pipeline(PLAN, RATE, checkpoint=kept)
    assert after.lines.checker.results == (result,)
    assert remembered(after, "Hum")[0][0] == -50.0
    assert remembered(after, "PairDrift")[0][1] == pytest.approx(12.0)
