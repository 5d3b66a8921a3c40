"""The process that writes a report: whole files or none, whatever ends it."""

from __future__ import annotations

import os
import signal
import time
from multiprocessing import Pipe
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from app.report import job as job_module
from app.report import worker as worker_module
from app.report.job import JobFailedError, ReportJob, Written, write
from app.report.worker import Failed, News, Step, Stopped, Worker
from app.report.write import Cancelled, Files
from tests.support.sample_session import SessionWriter, crew_plan, many_incidents

RATE = 48_000
WAIT_S = 60.0


def session(folder: Path, incidents: int = 5) -> Path:
    """A session of ten minutes."""
    plan = crew_plan(8)
    writer = SessionWriter(folder, plan)
    with writer.at_once():
        writer.run(0.0, 600.0)
        writer.levels(600)
        for incident in many_incidents(plan, incidents, 600.0):
            writer.incident(incident)
    writer.close()
    return folder


def take(path: Path, seconds: int = 12) -> str:
    """A take of two tracks, on which the first mutes."""
    samples = np.random.default_rng(1).normal(0.0, 0.01, (RATE * seconds, 2))
    samples[RATE * 6 :, 0] = 0.0
    sf.write(path, samples, RATE)
    return str(path)


def last_word(worker: Worker) -> tuple[News, list[Step]]:
    """Wait for its last word; returns that and the steps before it."""
    steps: list[Step] = []
    until = time.monotonic() + WAIT_S
    while time.monotonic() < until:
        news = worker.news()
        if isinstance(news, Step):
            steps.append(news)
        elif news is not None:
            return news, steps
        time.sleep(0.01)
    raise AssertionError("it never ended")


def test_markers_alone_are_a_report(tmp_path: Path) -> None:
    """Without any other form, the markers of each and of all together are written."""
    folder = tmp_path / "markers"
    sources = (session(tmp_path / "night"),), (take(tmp_path / "day.wav"),)
    done = write(ReportJob(*sources, Files(), markers=folder), lambda what, share: None)
    kinds = ("edl", "otio", "vtt")
    assert sorted(path.suffix[1:] for path in folder.iterdir()) == sorted(3 * kinds)
    assert done.folder == folder
    assert done.html is None


def test_a_process_writes_all_forms(tmp_path: Path) -> None:
    """A session and a take become one report, a section each, in a process of its own."""
    folder = tmp_path / "report"
    job = ReportJob(
        (session(tmp_path / "night"),), (take(tmp_path / "a.wav"),), Files.all_in(folder)
    )
    worker = Worker(job)
    news, steps = last_word(worker)
    worker.close()
    assert isinstance(news, Written)
    assert sorted(p.name for p in folder.iterdir()) == [
        f"report.{kind}" for kind in ("csv", "html", "json", "pdf")
    ]
    assert news.html == folder / "report.html"
    shares = [step.share for step in steps]
    assert shares == sorted(shares)
    text = (folder / "report.html").read_text(encoding="utf-8")
    assert "a.wav" in text
    assert "Foreman" in text


def test_cancelling_leaves_an_older_report(tmp_path: Path) -> None:
    """It ends soon, with the older file as it was and nothing beside it."""
    folder = tmp_path / "report"
    folder.mkdir()
    (folder / "report.html").write_text("older")
    job = ReportJob((), (take(tmp_path / "a.wav", 60),), Files.all_in(folder))
    worker = Worker(job)
    worker.cancel()
    news, _ = last_word(worker)
    worker.close()
    assert isinstance(news, Stopped)
    assert [p.name for p in folder.iterdir()] == ["report.html"]
    assert (folder / "report.html").read_text() == "older"


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is of other systems")
def test_a_process_that_is_killed_leaves_no_half_file(tmp_path: Path) -> None:
    """What it was just writing is swept away, and the failure is told in one line."""
    folder = tmp_path / "report"
    job = ReportJob((session(tmp_path / "night"),), (), Files(html=folder / "report.html"))
    worker = Worker(job)
    while worker.news() is None:
        time.sleep(0.01)
    pid = worker._process.pid
    assert pid is not None
    os.kill(pid, signal.SIGKILL)
    folder.mkdir(exist_ok=True)
    half = folder / f".report.html.{pid}"
    half.write_text("half")
    worker._process.join()
    news, _ = last_word(worker)
    worker.close()
    assert isinstance(news, Failed | Written)
    assert not half.exists()


def test_what_cant_be_read_is_left_out_and_named(tmp_path: Path) -> None:
    """One torn take of two: the report is of the other, and says which is missing."""
    torn = tmp_path / "torn.wav"
    torn.write_bytes(b"RIFF")
    files = Files(csv=tmp_path / "report.csv")
    job = ReportJob((), (take(tmp_path / "a.wav"), str(torn)), files)
    done = write(job, lambda _what, _share: None)
    assert len(done.left_out) == 1
    assert "torn.wav" in done.left_out[0]


def test_nothing_to_read_is_one_line(tmp_path: Path) -> None:
    """No report of nothing."""
    job = ReportJob((tmp_path,), (), Files(csv=tmp_path / "report.csv"))
    with pytest.raises(JobFailedError, match="no session log"):
        write(job, lambda _what, _share: None)
    assert not (tmp_path / "report.csv").exists()


def test_a_folder_that_cant_be_written_is_one_line(tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "file").write_text("")
    job = ReportJob(
        (session(tmp_path / "night"),), (), Files(html=tmp_path / "file" / "report.html")
    )
    with pytest.raises(JobFailedError, match="can't be written"):
        write(job, lambda _what, _share: None)


def test_a_scan_can_be_cancelled(tmp_path: Path) -> None:
    """The wish to stop is heeded in the middle of a take."""
    told: list[str] = []

    def tell(what: str, _share: float) -> None:
        told.append(what)
        if what.startswith("scanning"):
            raise Cancelled

    job = ReportJob((), (take(tmp_path / "a.wav", 30),), Files(csv=tmp_path / "report.csv"))
    with pytest.raises(Cancelled):
        write(job, tell)
    assert told[-1] == "scanning a.wav"
    assert not (tmp_path / "report.csv").exists()


def test_whatever_a_report_raises_is_said_with_its_reason(monkeypatch, capsys) -> None:
    """The process says why in its last word, and ends."""

    def fails(_job: ReportJob, _tell: object) -> Written:
        raise ZeroDivisionError("made to fail")

    monkeypatch.setattr(job_module, "write", fails)
    monkeypatch.setattr(worker_module, "be_nicer", lambda _by: None)
    here, there = Pipe()
    before = signal.getsignal(signal.SIGINT)
    worker_module._serve(ReportJob((), (), Files.all_in(Path("nowhere"))), there)
    signal.signal(signal.SIGINT, before)
    assert here.recv() == Failed("the report can't be written: ZeroDivisionError: made to fail")
    assert "ZeroDivisionError" in capsys.readouterr().err
