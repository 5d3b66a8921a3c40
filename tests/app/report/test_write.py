"""Writing reports, from Python and from the command line."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from PySide6.QtWidgets import QApplication

from app.cli.main import main
from app.report.write import Cancelled, Files, session_section, write_report
from engine.model.commands import Open
from engine.session.folders import sessions_folder
from engine.sources.base import SourceError
from tests.support import wav_files
from tests.support.sample_report import incident, section
from tests.support.sample_session import SessionWriter, crew_plan

RATE = 48_000
PLAN = crew_plan(2)


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Two tracks, 12 s of room; the first is digital zero from 6 s on."""
    samples = 0.003 * np.random.default_rng(3).standard_normal((12 * RATE, 2))
    samples[6 * RATE :, 0] = 0.0
    path = tmp_path / "take.wav"
    sf.write(path, samples, RATE, subtype="PCM_24")
    return path


def test_scan_writes_all_four_forms(
    qapp: QApplication, take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`scan TAKE --report DIR`: HTML, PDF, CSV and JSON; the status still tells of red."""
    folder = tmp_path / "out"
    assert main(["scan", str(take), "--json", "--report", str(folder), "--paper", "letter"]) == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["incidents"]
    assert str(folder / "report.html") in err
    assert {path.name for path in folder.iterdir()} == {
        f"report.{kind}" for kind in ("html", "pdf", "csv", "json")
    }
    text = (folder / "report.csv").read_bytes()
    assert text.startswith(b"\xef\xbb\xbf")
    (row,) = csv.DictReader(text.decode("utf-8-sig").splitlines())
    assert (row["fault"], row["timecode_in"]) == ("muted", "00:00:06:00")
    told = json.loads((folder / "report.json").read_text("utf-8"))["sections"][0]["incidents"][0]
    assert told["in_s"] == pytest.approx(6.0, abs=0.1)


def slated(path: Path, scene: str, take: int, note: str) -> Path:
    """A take whose iXML and bext carry a sound report; its second track mutes after 5 s."""
    sound = (98 * np.random.default_rng(take).standard_normal((10 * RATE, 2))).astype("<i2")
    sound[5 * RATE :, 1] = 0
    told = f"<SCENE>{scene}</SCENE><TAKE>{take}</TAKE><NOTE>{note}</NOTE>"
    tracks = wav_files.track_list((1, "Foreman"), (2, "Boom scaffold"))
    chunks = (
        wav_files.fmt(2, RATE),
        wav_files.bext(21 * 3600 * RATE, b"tower at night"),
        wav_files.ixml(told + tracks),
        wav_files.chunk(b"data", sound.tobytes()),
    )
    path.write_bytes(wav_files.wav(*chunks))
    return path


def test_several_takes_are_one_report_with_a_section_each(
    qapp: QApplication, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Scene, take and note of each file stand in its section, its incidents in its rows.

    Sources: iXML specification (SCENE, TAKE, NOTE), EBU Tech 3285 (Description, TimeReference).
    """
    takes = [
        slated(tmp_path / "tower_01.wav", "12A", 1, "=SUM(A1), crane late"),
        slated(tmp_path / "tower_02.wav", "12A", 2, "good for sound"),
    ]
    folder = tmp_path / "out"
    assert main(["scan", *map(str, takes), "--report", str(folder)]) == 1
    text = (folder / "report.html").read_text("utf-8")
    overview, first, second = text.split("<h2")[1:]
    assert "12A / 1" in overview
    assert "crane late" in overview
    for part, name, take, note in (
        (first, "tower_01.wav", "1", "=SUM(A1), crane late"),
        (second, "tower_02.wav", "2", "good for sound"),
    ):
        assert name in part
        for key, value in (("Scene", "12A"), ("Take", take), ("Note", note)):
            assert f"<dt>{key}</dt><dd>{value}</dd>" in part
        assert "<dd>tower at night</dd>" in part
        assert "<dt>From</dt><dd>21:00:00:00</dd>" in part
        assert "2 Boom scaffold" in part
    rows = list(csv.DictReader((folder / "report.csv").read_text("utf-8-sig").splitlines()))
    muted = [(row["take"], row["name"]) for row in rows if row["fault"] == "muted"]
    assert muted == [("tower_01.wav", "Boom scaffold"), ("tower_02.wav", "Boom scaffold")]
    sections = json.loads((folder / "report.json").read_text("utf-8"))["sections"]
    assert [one["fields"]["take"] for one in sections] == ["1", "2"]


def test_a_folder_that_cannot_be_made_is_one_clear_line(
    take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file stands where the folder should be: status 2, one line, no traceback."""
    (tmp_path / "file").write_text("")
    assert main(["scan", str(take), "--json", "--report", str(tmp_path / "file")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def session(name: str, request: Open | None = None) -> Path:
    """A session of 12 s in the sessions folder, with one incident at 6 s."""
    folder = sessions_folder() / name
    writer = SessionWriter(folder, PLAN, live=request is None, request=request)
    writer.run(0.0, 12.0)
    writer.levels(12)
    writer.incident(incident(onset_s=6.0, amber_s=6.5, red_s=8.0, end_s=None))
    writer.close()
    return folder


@pytest.fixture(autouse=True)
def own_sessions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions of these tests lie in a folder of their own."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr("engine.session.folders.user_data_path", lambda *a, **k: tmp_path / "data")


def test_report_of_a_session_by_part_of_its_name(
    qapp: QApplication, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`report SESSION` finds it by a part of its name and writes the forms that are named."""
    session("20260314T210500Z-ab12")
    session("20260315T190000Z-cd34")
    html, pdf = tmp_path / "night.html", tmp_path / "night.pdf"
    assert main(["report", "0314T2105", "--html", str(html), "--pdf", str(pdf)]) == 0
    assert "21:00:06:00" in html.read_text("utf-8")
    assert pdf.read_bytes().startswith(b"%PDF")
    assert main(["report", "202603", "--html", str(html)]) == 2
    assert main(["report", "nothing", "--html", str(html)]) == 2
    assert capsys.readouterr().err.count("trackwarden sessions") == 2


def test_a_session_of_a_take_reads_its_sound(take: Path) -> None:
    """The take that was replayed is read again: the picture has its waveform."""
    folder = session("replayed", Open(take=str(take)))
    (entry,) = session_section(folder).entries
    assert entry.excerpt is not None
    assert entry.excerpt.low is not None
    assert np.abs(entry.excerpt.low[500:]).max() == 0.0
    assert np.abs(entry.excerpt.low[:500]).max() > 0.003


def test_a_take_that_changed_is_not_shown_as_the_one_watched(tmp_path: Path, take: Path) -> None:
    """Another number of channels: levels of the log instead, and the report says why."""
    folder = session("changed", Open(take=str(take)))
    sf.write(take, np.zeros((RATE * 12, 1)), RATE)
    made = session_section(folder)
    assert made.entries[0].excerpt is not None
    assert made.entries[0].excerpt.low is None
    assert "another take by now" in made.honest[-1]


def test_a_torn_log_is_one_clear_line(tmp_path: Path) -> None:
    """A file that is no log: SourceError, whatever SQLite says of it."""
    folder = sessions_folder() / "torn"
    folder.mkdir(parents=True)
    (folder / "session.sqlite").write_bytes(b"torn" * 1000)
    with pytest.raises(SourceError, match="left alone"):
        session_section(folder)


def test_cancelling_leaves_what_was_there(tmp_path: Path) -> None:
    """A report that is no longer wanted harms no older one and leaves no half of itself."""
    path = tmp_path / "report.html"
    path.write_text("older")

    def stop(what: str, share: float) -> None:
        raise Cancelled

    with pytest.raises(Cancelled):
        write_report([section()], Files(html=path), progress=stop)
    assert path.read_text() == "older"
    assert list(tmp_path.iterdir()) == [path]


def test_progress_tells_what_is_being_done(qapp: QApplication, tmp_path: Path) -> None:
    """Each form is announced, and the PDF counts its pages up to all."""
    told: list[tuple[str, float]] = []
    write_report(
        [section([incident()])],
        Files.all_in(tmp_path),
        progress=lambda what, share: told.append((what, share)),
    )
    assert [what for what, _ in told if "writing" in what] == [
        f"writing report.{kind}" for kind in ("html", "csv", "json", "pdf")
    ]
    assert told[-1] == ("setting the PDF's pages", 1.0)
