"""`trackwarden verify` in the terminal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli.verify_command import COMPLETE, FAILED, INCOMPLETE, VerifyOptions, verify_takes
from engine.sources.base import SourceError
from tests.support.verify_signals import night, recorded, write_session, write_take


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Thirty seconds that rolled, and a card with a take of all of them."""
    folder = tmp_path_factory.mktemp("bell")
    sound = night(32.0)
    write_session(folder / "session", sound[: 30 * 48_000]).close()
    (folder / "card").mkdir()
    write_take(folder / "card" / "bell01.wav", recorded(sound, 0.0, 30.0))
    return str(folder)


def test_a_whole_card_is_complete(session: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 0, one word, and a page where it was asked for."""
    html, kept = Path(session, "check.html"), Path(session, "manifest.txt")
    pdf = Path(session, "check.pdf")
    options = VerifyOptions(html=html, pdf=pdf, manifest=kept)
    assert verify_takes(f"{session}/session", [f"{session}/card"], options) == COMPLETE
    assert capsys.readouterr().out.startswith("COMPLETE\n")
    assert ">Complete</h1>" in html.read_text("utf-8")
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert kept.read_text("utf-8").endswith("  bell01.wav\n")
    again = VerifyOptions(against=kept)
    assert verify_takes(f"{session}/session", [f"{session}/card"], again) == COMPLETE


def test_a_copy_that_differs_is_told(
    session: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 1, the name of the file once, and the same on the page."""
    (tmp_path / "bell01.wav").write_bytes(b"RIFF")
    html = Path(session, "copy.html")
    options = VerifyOptions(against=tmp_path, html=html)
    assert verify_takes(f"{session}/session", [f"{session}/card"], options) == INCOMPLETE
    said = capsys.readouterr().out
    assert said.startswith("NOT COMPLETE\n")
    assert said.count("bell01.wav") == 1
    assert "bell01.wav: differs" in html.read_text("utf-8")


def test_json_is_one_document(session: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing else stands on standard output."""
    options = VerifyOptions(json=True)
    assert verify_takes(f"{session}/session", [f"{session}/card"], options) == COMPLETE
    document = json.loads(capsys.readouterr().out)
    assert document["kind"] == "verify"
    assert document["complete"] is True


def test_nothing_that_can_be_read_is_status_2(session: str, tmp_path: Path) -> None:
    """A card of torn files only."""
    (tmp_path / "torn.wav").write_bytes(b"RIFF\0\0\0\0WAVE")
    assert verify_takes(f"{session}/session", [str(tmp_path)], VerifyOptions()) == FAILED


def test_a_session_that_is_none_is_one_line(tmp_path: Path) -> None:
    """It says what there is instead of a traceback."""
    with pytest.raises(SourceError, match="no such session"):
        verify_takes(str(tmp_path / "none"), [str(tmp_path)], VerifyOptions())
