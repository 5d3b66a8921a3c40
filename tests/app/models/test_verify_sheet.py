"""What the window and one sheet of paper show of a night with many faults."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.models.verify_sheet import name_of, verify_sheet
from app.report.pdf import write_blocks
from engine.verify.result import Difference, Finding, Verification
from engine.verify.verify_page import blocks


def night(tracks: int, findings: int) -> Verification:
    """A session of so many tracks, with so many findings, none of whose takes was placed."""
    words = "a channel of which there is a good deal to be said, more than fits into one line"
    made = tuple(
        Finding(
            Difference.NOT_RECORDED if n % 5 else Difference.MIX,
            words,
            f"/card/BELL_{n:03}.wav",
            n % tracks + 1,
            from_s=float(n),
            until_s=n + 5.0,
        )
        for n in range(findings)
    )
    return Verification(
        *("night", "Raising the bell", (), made),
        failed=tuple((f"/card/torn{n}.wav", "can't be read") for n in range(2)),
        coarse=True,
        rolling=((0.0, 3600.0), (4000.0, 7200.0)),
        tracks=tuple((n + 1, f"Performer {n} main") for n in range(tracks)),
        labels=tuple((float(n), f"20:00:{n % 60:02}:00") for n in range(findings + 6)),
    )


def test_what_is_wrong_comes_first() -> None:
    """Files that can't be read before all, what is only worth knowing last."""
    sheet = verify_sheet(night(6, 10))
    wrong = [line.wrong for line in sheet.lines]
    assert wrong == sorted(wrong, reverse=True)
    assert [line.take for line in sheet.lines[:2]] == ["torn0.wav", "torn1.wav"]
    assert sheet.lines[2].when == "20:00:01:00 to 20:00:06:00"
    assert sheet.lines[2].to_do == "arm the track; look for it on another recorder or card"
    assert (sheet.word, sheet.complete) == ("Not complete", False)


def test_a_night_without_findings_is_complete() -> None:
    """One word, no list."""
    sheet = verify_sheet(replace(night(6, 0), failed=()))
    assert (sheet.word, sheet.lines) == ("Complete", ())


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("tracks", "findings"), [(1, 0), (12, 8), (32, 40), (64, 300)])
def test_the_worst_night_prints_on_one_sheet(
    tmp_path: Path, paper: str, tracks: int, findings: int
) -> None:
    """Whatever has no room is counted."""
    path = tmp_path / "sheet.pdf"
    result = night(tracks, findings)
    write_blocks(verify_sheet(result).sheet, "sheet", path, paper)
    reader = PdfReader(path)
    assert len(reader.pages) == 1
    text = " ".join(reader.pages[0].extract_text().split())
    assert ("more: see the window" in text) == (findings > 20)


def test_the_whole_page_leaves_nothing_out() -> None:
    """As HTML it has every finding."""
    whole = str(list(blocks(night(64, 300))))
    assert all(f"BELL_{n:03}.wav" in whole for n in range(300))


def test_names_of_takes_are_without_folders() -> None:
    """Of either kind of slash."""
    assert [name_of(path) for path in ("/a/b.wav", "C:\\a\\b.wav", "/card/", None)] == [
        *("b.wav", "b.wav", "card", ""),
    ]
