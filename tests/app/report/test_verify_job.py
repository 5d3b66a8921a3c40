"""Takes held against a session by a process of its own, and the sheet that comes of it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.models.verify_sheet import VerifySheet
from app.report.job import JobFailedError
from app.report.pdf import write_blocks
from app.report.verify_job import VerifyJob
from app.report.worker import Stopped, Worker
from app.report.write import Cancelled
from tests.app.report.test_worker import last_word
from tests.support.verify_signals import night, recorded, write_session, write_take


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of a minute, and a card with all of it."""
    folder = tmp_path_factory.mktemp("shoot")
    sound = night(60.0)
    write_session(folder / "session", sound).close()
    (folder / "card").mkdir()
    write_take(folder / "card" / "bell01.wav", recorded(sound, 0.0, 60.0))
    return folder


def job(shoot: Path, *takes: str) -> VerifyJob:
    """Those files or folders against the session."""
    return VerifyJob(shoot / "session", takes)


def test_a_card_is_compared_in_a_process_of_its_own(shoot: Path) -> None:
    """Step by step, and nothing on the card is touched."""
    before = {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in (shoot / "card").rglob("*")}
    worker = Worker(job(shoot, str(shoot / "card")))
    news, steps = last_word(worker)
    worker.close()
    assert isinstance(news, VerifySheet)
    assert (news.word, news.complete, [take.name for take in news.takes]) == (
        *("Complete", True),
        ["card"],
    )
    assert len(news.tracks) == 6
    shares = [step.share for step in steps]
    assert shares == sorted(shares)
    assert {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in before} == before


def test_cancelling_ends_it(shoot: Path) -> None:
    """At its next step."""
    worker = Worker(job(shoot, str(shoot / "card")))
    worker.cancel()
    news, _ = last_word(worker)
    worker.close()
    assert isinstance(news, Stopped)


def test_a_killed_one_is_cancelled_too(shoot: Path) -> None:
    """Where its next step is far away."""
    worker = Worker(job(shoot, str(shoot / "card")))
    worker.cancel()
    worker.kill()
    news, _ = last_word(worker)
    worker.close()
    assert isinstance(news, Stopped)


def test_progress_may_end_it_in_mid_take(shoot: Path) -> None:
    """What it raises goes through."""

    def stop(words: str, share: float) -> None:
        if words == "card" and share > 0.3:
            raise Cancelled

    with pytest.raises(Cancelled):
        job(shoot, str(shoot / "card")).run(stop)


def test_what_can_not_be_done_is_one_line(shoot: Path, tmp_path: Path) -> None:
    """A folder without takes, a folder that is no session."""
    with pytest.raises(JobFailedError, match="no takes there"):
        job(shoot, str(tmp_path)).run(lambda _words, _share: None)
    with pytest.raises(JobFailedError, match="no session log"):
        VerifyJob(tmp_path, ()).run(lambda _words, _share: None)


def test_a_torn_file_and_a_card_that_is_gone_are_named(shoot: Path, tmp_path: Path) -> None:
    """The rest of the card is compared all the same."""
    shutil.copytree(shoot / "card", tmp_path / "card")
    (tmp_path / "card" / "other02.wav").write_bytes(b"RIFF")
    sheet = job(shoot, str(tmp_path / "card"), "/gone").run(lambda _words, _share: None)
    assert not sheet.complete
    assert {line.take for line in sheet.lines if "was it pulled out" in line.to_do} == {
        *("other02.wav", "gone"),
    }
    assert [take.name for take in sheet.takes] == ["bell01.wav"]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_it_prints_on_one_sheet(shoot: Path, tmp_path: Path, paper: str) -> None:
    """The complete one."""
    sheet = job(shoot, str(shoot / "card")).run(lambda _words, _share: None)
    path = tmp_path / "sheet.pdf"
    write_blocks(sheet.sheet, "sheet", path, paper)
    reader = PdfReader(path)
    assert len(reader.pages) == 1
    assert "Complete" in reader.pages[0].extract_text()
