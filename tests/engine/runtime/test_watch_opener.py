"""A session's watch is opened whole, reduced or not at all."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.model.commands import Open
from engine.runtime.watch_opener import MOST_CRASHES, WatchOpener
from engine.runtime.wire import Job
from engine.session import engines, folders
from engine.session.reader import SessionReader


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions of another user than the one who tests."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))


def test_ten_crashes_within_a_minute_lead_to_a_reduced_watch() -> None:
    """The eleventh engine watches levels, muted and silent alone, and says what crashed."""
    folder = folders.new_session()
    engines.ensured(engines.runtime_of(folder))
    engines.words_of(folder).write_text("Traceback\nZeroDivisionError: no frames\n")
    job = Job(str(folder), Open(take="take.wav"))
    for crashes in range(MOST_CRASHES + 1):
        starts = engines.note_start(folder, 1.0 + crashes)
        opener = WatchOpener(job, starts, print, print, print)
        assert (opener.reduced() != "") == (crashes >= MOST_CRASHES)
    assert opener.reduced() == "ZeroDivisionError: no frames"


def test_an_engine_that_follows_one_which_died_while_opening_begins_the_watch(
    tmp_path: Path,
) -> None:
    """Rendering the demo take may be what it died of: there is nothing yet to go on with."""
    take = tmp_path / "take.wav"
    soundfile.write(take, np.zeros((4_800, 2)), 48_000)
    job = Job(str(folders.new_session()), Open(take=str(take)), resume=True)
    opener = WatchOpener(job, 1, print, print, print)
    runner = opener.open()
    assert runner.watch.source == "take.wav"
    assert runner.pipeline.fed_s == 0.0
    runner.input.close()
    assert opener.log is not None
    opener.log.close()
    with SessionReader(Path(job.folder)) as log:
        assert log.session() is not None
